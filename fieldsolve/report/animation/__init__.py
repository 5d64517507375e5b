"""A shot in motion: frames at even times, the scene that shows them, and the movie file that they make."""
