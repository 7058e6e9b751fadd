"""What is said everywhere alike: states, trust, heights and distances in words."""
