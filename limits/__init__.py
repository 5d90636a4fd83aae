"""The judge: readings and limit tables in, decisions out. Knows no instrument, no store and no page."""
