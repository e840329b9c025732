"""`python -m costbook`."""

from costbook.cli import run

run()
