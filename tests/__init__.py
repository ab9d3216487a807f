"""The tests: one file a module, `published/` one file an outside source."""
