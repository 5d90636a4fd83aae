"""The verbs of the command line: what each is called with, and the one act behind it."""
