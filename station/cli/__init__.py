"""The command line: parse, one call on the desk, show."""
