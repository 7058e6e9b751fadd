"""What a drawn view contains, as data: lines and landmarks on the ground and on the picture."""
