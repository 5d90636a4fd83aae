"""The way to the analyzers. Only `visa.py` imports pyvisa."""
