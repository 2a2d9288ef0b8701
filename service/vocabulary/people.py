"""People as documents name them."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class PrintedPerson:
    """A person by name and position; no position is known of one whose name was erased."""

    name: str
    position: str | None = None

    def __str__(self) -> str:
        return self.name if self.position is None else f"{self.name}, {self.position}"
