"""Sheets of a section."""
