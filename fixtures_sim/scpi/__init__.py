"""The language of programmable instruments: IEEE 488.2 messages and SCPI-1999 headers, values and status."""
