"""How long a signature can be checked: the baseline levels of ETSI EN 319 142-1."""

from enum import StrEnum


class Level(StrEnum):
    """A signature alone; with a proven time; with all that is needed to check it when its certificate has run out."""

    B_B = "b_b"
    B_T = "b_t"
    B_LTA = "b_lta"

    @property
    def label(self) -> str:
        """Return the level's name in the standard."""
        return f"PAdES {self.name.replace('_', '-')}"

    def reaches(self, asked: "Level") -> bool:
        """Tell whether this level is the one asked for or a higher one."""
        order = list(Level)
        return order.index(self) >= order.index(asked)
