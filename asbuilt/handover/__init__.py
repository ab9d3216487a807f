"""Everything of one property in one file, for the next owner: out and in."""
