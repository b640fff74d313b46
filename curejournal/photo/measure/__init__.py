"""Measure the colours of areas in a photo against its card."""
