"""What is wrong with the board, the line, the sensors or the coils."""
