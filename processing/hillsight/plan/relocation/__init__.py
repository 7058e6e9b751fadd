"""From which of several places a picture was taken."""
