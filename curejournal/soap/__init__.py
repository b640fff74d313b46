"""Oils, lye, grams and alkali: pure chemistry."""
