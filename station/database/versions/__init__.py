"""The steps from each form of the database to the next, oldest first by number."""
