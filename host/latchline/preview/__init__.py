"""The picture of the fabric."""
