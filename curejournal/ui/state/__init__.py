"""What is kept between two runs of a page."""
