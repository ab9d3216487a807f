"""Where everything of a buried wastewater system is, and how well that is known."""

__version__ = "0.1.0"
