"""The level at which packages are signed, as criteria ask for it and packages tell it."""

from enum import StrEnum


class SignatureLevel(StrEnum):
    """How long a signature can be checked (ETSI EN 319 142-1): alone; with a proven time; with all proofs inside."""

    B_B = "b_b"
    B_T = "b_t"
    B_LTA = "b_lta"
