"""What is said of map features and landforms: where each stands and how much is seen."""
