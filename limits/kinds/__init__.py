"""The kinds of limit: one file and one row in the catalogue each."""
