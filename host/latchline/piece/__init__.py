"""One knitted part, band by band: as a piece file says it, or of one chart with its options."""
