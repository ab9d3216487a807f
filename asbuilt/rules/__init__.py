"""Rule profiles: limits of published rules as data, each with its source."""
