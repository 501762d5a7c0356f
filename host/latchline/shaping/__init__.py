"""The sums of shaping: rates, steps, necks. Nothing here knows of beds, passes or files."""
