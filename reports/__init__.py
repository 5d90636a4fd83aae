"""Reads finished records and prints them. Knows no instrument, no query and no page."""
