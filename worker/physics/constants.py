"""Constants, each with unit and source."""

# [m/s] exact by the definition of the metre (SI brochure, from memory).
SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
