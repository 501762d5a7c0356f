"""What an unknown machine's coils are, from a meter's readings and from what the board reads of them."""
