"""The signature fields of a package, their names and places."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

SEAL_FIELD = "ServiceSeal"
CONTRACTOR_FIELD = "ContractorResponsible"
ENGINEER_FIELD = "OwnerEngineer"

FIELD_TITLES: Mapping[str, str] = MappingProxyType(
    {
        SEAL_FIELD: "the service's seal",
        CONTRACTOR_FIELD: "the contractor's responsible person",
        ENGINEER_FIELD: "the owner's engineer",
    }
)

# Left, bottom, right, top on the first page, in points from its lower left corner.
Box = tuple[int, int, int, int]


@dataclass(frozen=True, kw_only=True)
class SignatureBoxes:
    """Where the people's signatures will show on the first page."""

    contractor_responsible: Box
    owner_engineer: Box
