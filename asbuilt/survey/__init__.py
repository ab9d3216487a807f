"""Measurements to positions: pure numpy, no file and no database."""
