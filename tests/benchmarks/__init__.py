"""How long things take: ratios within one run, each a command of its own."""
