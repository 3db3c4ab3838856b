"""Changes of the tables, one revision each."""
