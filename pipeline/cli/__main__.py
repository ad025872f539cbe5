"""Lets `python -m pipeline.cli` do what `rostral` does."""

from pipeline.cli import main

main()
