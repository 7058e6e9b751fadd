"""What is argued from readings: which place a picture was taken from, and how that is known."""
