"""Sheets of landforms."""
