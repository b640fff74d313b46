"""From the bytes of a picture file to pixels, colour profile and the time it was taken."""
