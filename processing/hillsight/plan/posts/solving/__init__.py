"""Which places see most together: a table, searches, bounds and exact answers; plain arrays."""
