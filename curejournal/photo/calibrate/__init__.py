"""Learn from the card what a photo does to colours: its light, its camera, its faults."""
