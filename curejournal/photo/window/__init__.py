"""Split the soap in the card's window into portions, spots and film."""
