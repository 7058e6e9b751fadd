"""The ground along a sight line."""
