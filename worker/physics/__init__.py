"""The physics of fibre joints and links: arrays in, float64 arrays out, with units and sources."""
