"""Pieces that several pages show."""
