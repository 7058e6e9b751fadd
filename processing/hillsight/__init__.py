"""What is seen from where on hill ground; the rooms are described in DEVELOPERS.md."""

__version__ = "0.1.0"
