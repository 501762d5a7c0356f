"""The desk: draw, see, check, print and knit in a browser, served on this machine only."""
