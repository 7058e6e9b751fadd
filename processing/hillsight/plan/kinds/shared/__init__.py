"""What several kinds of statement have in common: their form, chances, words, geometry."""
