"""Photographs on pages and sheets: the page on which one is marked."""
