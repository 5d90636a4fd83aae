"""What finished records say together: tables in, tables out; knows no query and no page."""
