"""What can be seen from a point: arrays in, arrays out; no files, no CRS, no names."""
