"""``python -m gracewright`` is the command line."""

from gracewright.cli import main

main()
