"""`python -m interlock`."""

from interlock.cli.app import main

main()
