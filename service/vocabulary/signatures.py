"""What is signed in a package after its issue, by whom and by what, and where a signature is that was sent in."""

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
