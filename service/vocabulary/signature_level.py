"""The level at which packages are signed, as criteria ask for it, signing makes it and packages tell it."""

from enum import StrEnum


class SignatureLevel(StrEnum):
    """How long a signature can be checked (ETSI EN 319 142-1): alone; with a proven time; with all proofs inside."""

    B_B = "b_b"
    B_T = "b_t"
    B_LTA = "b_lta"

    @property
    def label(self) -> str:
        """Return the level's name in the standard."""
        return f"PAdES {self.name.replace('_', '-')}"

    def reaches(self, asked: "SignatureLevel") -> bool:
        """Tell whether this level is the one asked for or a higher one."""
        order = list(SignatureLevel)
        return order.index(self) >= order.index(asked)
