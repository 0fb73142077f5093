"""Run the command line with ``python -m ridelog``."""

from ridelog.cli import main

main()
