"""The SQLite record and what goes into it; the only room that knows sqlite-utils."""
