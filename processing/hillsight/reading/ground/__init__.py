"""What a person would say of the ground itself: pockets, crest lines, skyline."""
