"""`python -m asbuilt`."""

from asbuilt.cli.main import run

run()
