"""Constants, each with unit and source."""

# [m/s] exact by the definition of the metre (SI brochure, from memory).
SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
# [Np/dB] nepers of power in a decibel: ln(10) / 10, exact by definition of the two.
NEPERS_PER_DB = 0.230_258_509_299_404_57
# [unitless] refractive index of a single-mode fibre's glass where it ends in air, to two places (common practice, no
# source): 1.447 to 1.452 from cladding to core, which is 0.05 dB of a flat end's reflectance.
GLASS_REFRACTIVE_INDEX = 1.45
