"""Find the calibration card and the batch tag in a picture."""
