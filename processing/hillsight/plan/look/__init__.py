"""A place at a glance."""
