"""Sheets of one station."""
