"""How the knitting went, pass by pass."""
