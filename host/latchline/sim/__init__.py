"""The simulator: a carriage, its sensors, the needles, and the model board, all in virtual time."""
