"""Exercises: a picture, the place it was taken from, and places that it might be taken for."""
