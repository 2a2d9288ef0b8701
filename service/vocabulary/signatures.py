"""Who signs a package after the service, by what, and where a signature is that was sent in."""

from enum import StrEnum


class SignatureRole(StrEnum):
    """Whose place on a package: the contractor's responsible person, or the owner's engineer."""

    CONTRACTOR = "contractor"
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
