"""`python -m panel` is the `afterfeel` command."""

from panel.cli import main

main(prog_name="afterfeel")
