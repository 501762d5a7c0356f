"""The sums of shaping: rates, steps, necks, gauge and size. Nothing here knows of beds, passes or files."""
