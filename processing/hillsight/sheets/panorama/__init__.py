"""Drawn views."""
