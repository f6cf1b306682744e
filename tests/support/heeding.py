"""The command line in a process that heeds interrupts, also where what started the tests does not: a job that runs in
the background of a script ignores them, and so does all that it starts."""

HEEDING = "import signal as s; s.signal(s.SIGINT, s.default_int_handler); from interlock.cli.app import main; main()"
