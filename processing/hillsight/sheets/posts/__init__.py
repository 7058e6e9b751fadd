"""Sheets for marshals: one for each post, and a map of them all."""
