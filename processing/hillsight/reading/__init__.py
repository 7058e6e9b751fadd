"""What a person would say of the ground: dead ground, crest lines, skyline, bearing list."""
