"""Whether the record is complete and sound before everything is covered."""
