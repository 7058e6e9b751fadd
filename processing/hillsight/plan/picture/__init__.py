"""Pictures: the camera, what is marked on a photograph, and how well a place fits it."""
