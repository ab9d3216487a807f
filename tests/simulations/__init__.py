"""Simulations that print a table; run by hand, their figures stand in DEVELOPERS.md."""
