"""One module a command: `arguments(parser)` says what it takes, `run(args)` does it and returns the exit code.

Only what a command needs is imported when it runs, so that `check` answers at once and the daemon stays small.
"""
