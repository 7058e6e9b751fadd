"""Kinds of statement: how likely each is from a place, and in what words."""
