"""The signature fields of a package, their names and places."""

from collections.abc import Mapping
from types import MappingProxyType

from service.vocabulary.signatures import SignaturePlace

SEAL_FIELD = "ServiceSeal"
DECISION_FIELD = "DecisionSeal"
CONTRACTOR_FIELD = "ContractorResponsible"
ENGINEER_FIELD = "OwnerEngineer"

FIELD_TITLES: Mapping[str, str] = MappingProxyType(
    {
        SEAL_FIELD: "the service's seal",
        DECISION_FIELD: "the service's seal over the decision",
        CONTRACTOR_FIELD: "the contractor's responsible person",
        ENGINEER_FIELD: "the owner's engineer",
    }
)

# The places that stay empty at issue, in the order in which they are reserved.
RESERVED: Mapping[SignaturePlace, str] = MappingProxyType(
    {
        SignaturePlace.CONTRACTOR: CONTRACTOR_FIELD,
        SignaturePlace.DECISION: DECISION_FIELD,
        SignaturePlace.ENGINEER: ENGINEER_FIELD,
    }
)

# Who may sign with a key of their own.
PEOPLE = (CONTRACTOR_FIELD, ENGINEER_FIELD)


def title_of(field: str) -> str:
    """Return what people call a place; one that is no package's is called by its name."""
    return FIELD_TITLES.get(field, field)


# Form 1 had no place for the decision: the service's seal could stand in a person's place.
FORMS: Mapping[int, tuple[str, ...]] = MappingProxyType(
    {
        1: (SEAL_FIELD, CONTRACTOR_FIELD, ENGINEER_FIELD),
        2: (SEAL_FIELD, DECISION_FIELD, CONTRACTOR_FIELD, ENGINEER_FIELD),
    }
)

# The last sentence of the reason of the decision's seal, where the engineer chose to sign with a key of their own.
OWN_KEY_FOLLOWS = "The engineer signs with a key of their own."
