"""The way to the analyzers. Only `link.py` imports pyvisa."""
