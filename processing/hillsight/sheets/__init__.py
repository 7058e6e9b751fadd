"""Pictures for people."""
