"""The bench at a station: the file that describes it, and what is opened from it."""
