"""Techniques: what a selected and an unselected needle does, in each direction."""
