"""`python -m curejournal`: the command line."""

from curejournal.cli import main

main()
