"""What came of trying one setting."""

from dataclasses import dataclass
from enum import StrEnum


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


@dataclass(frozen=True, kw_only=True)
class Tried:
    """A setting, how it was found, and a sentence about it."""

    setting: str
    state: State
    reason: str

    def __str__(self) -> str:
        """Return the sentence with its setting before it."""
        return f"{self.setting}: {self.reason}"


def good(setting: str, reason: str) -> Tried:
    """Return that a setting is as it has to be."""
    return Tried(setting=setting, state=State.GOOD, reason=reason)


def doubtful(setting: str, reason: str) -> Tried:
    """Return that somebody outside does not do what is needed, for now."""
    return Tried(setting=setting, state=State.DOUBTFUL, reason=reason)


def away(setting: str, reason: str) -> Tried:
    """Return that a server is not there yet."""
    return Tried(setting=setting, state=State.AWAY, reason=reason)


def wrong(setting: str, reason: str) -> Tried:
    """Return that a setting has to be put right."""
    return Tried(setting=setting, state=State.WRONG, reason=reason)
