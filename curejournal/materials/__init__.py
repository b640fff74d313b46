"""What all batches together say about a material."""
