"""What every room uses: the base of our errors, and how numbers and counts are written."""
