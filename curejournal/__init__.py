"""A photo-based cure and batch quality journal for cold-process soap."""
