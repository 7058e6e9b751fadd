"""An exercise as people work on it: question, answer, page."""
