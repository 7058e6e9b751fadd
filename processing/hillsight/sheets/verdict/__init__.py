"""Pages and maps of a verdict."""
