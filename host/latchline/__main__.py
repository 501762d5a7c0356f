"""`python -m latchline` is the command."""

from latchline.cli import main

main()
