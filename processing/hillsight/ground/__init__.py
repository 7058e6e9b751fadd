"""What comes in: terrain, stations, map features, and the geodesy that ties them together."""
