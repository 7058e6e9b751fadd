"""What an observer says of a picture, read and checked."""
