"""What came of trying one setting."""

from enum import StrEnum
from typing import NamedTuple


class State(StrEnum):
    """How a setting was found, and what a part does that finds it so."""

    GOOD = "good"
    # Somebody outside is away or says nonsense: work that needs it waits, all else goes on.
    DOUBTFUL = "doubtful"
    # A server that may be starting just now: worth waiting for.
    AWAY = "away"
    # Nothing will change by itself: the part does not start.
    WRONG = "wrong"
    # As wrong, and another attempt may do harm.
    REFUSED = "refused"


class Tried(NamedTuple):
    """A setting, how it was found, and a sentence about it."""

    setting: str
    state: State
    reason: str

    def __str__(self) -> str:
        """Return the sentence with its setting before it."""
        return f"{self.setting}: {self.reason}"
