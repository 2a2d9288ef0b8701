"""People as documents name them, and whose they are: each side of a contract names its own and nobody else's."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from service.vocabulary.words import TokenKind


@dataclass(frozen=True, kw_only=True)
class PrintedPerson:
    """A person by name and position; no position is known of one whose name was erased."""

    name: str
    position: str | None = None

    def __str__(self) -> str:
        return self.name if self.position is None else f"{self.name}, {self.position}"


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
