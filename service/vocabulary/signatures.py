"""What is signed in a package, by whom, by what and at which level, and where a signature is that was sent in."""

from enum import StrEnum


class SignatureRole(StrEnum):
    """Who signs with a key of their own: the contractor's responsible person, or the owner's engineer."""

    CONTRACTOR = "contractor"
    ENGINEER = "engineer"


class SignaturePlace(StrEnum):
    """What a signature stands for: one of the two people, or the decision, which the service seals.

    In packages of earlier releases the service's seal stood in the people's places as well.
    """

    CONTRACTOR = "contractor"
    DECISION = "decision"
    ENGINEER = "engineer"


class SignedBy(StrEnum):
    """A person's own key, or the service's seal over what the person did."""

    OWN_KEY = "own_key"
    SERVICE_SEAL = "service_seal"


class UploadState(StrEnum):
    """Where a signed file is that somebody sent in."""

    CHECKING = "checking"
    TAKEN = "taken"
    REFUSED = "refused"


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
