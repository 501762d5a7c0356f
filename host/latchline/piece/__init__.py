"""The piece file: all bands of one knitted part, read into a `Piece`."""
