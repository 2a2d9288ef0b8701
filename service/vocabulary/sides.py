"""The two sides of a contract: each names its own people, and nobody else's."""

from collections.abc import Mapping
from enum import StrEnum

from service.vocabulary.words import TokenKind


class PartySide(StrEnum):
    """Whose person somebody is; the owner's engineer is the owner's, a crew the contractor's."""

    CONTRACTOR = "contractor"
    OWNER = "owner"


# Billing and the administrator act for no side.
SIDE_OF: Mapping[TokenKind, PartySide] = {
    TokenKind.CREW: PartySide.CONTRACTOR,
    TokenKind.CONTRACTOR: PartySide.CONTRACTOR,
    TokenKind.ENGINEER: PartySide.OWNER,
}
