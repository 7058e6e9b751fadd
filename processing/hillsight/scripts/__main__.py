"""Lets ``python -m hillsight.scripts`` stand for ``hillsight``."""

from hillsight.scripts.main import main

main()
