"""The machine: a bed, its needles, selectors and sensors."""
