"""One file a user action: record to survey to output."""
