"""What a run does, drawn from its seed alone."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from random import Random

CREWS = 2
FIBRES, CLOSURES = 12, 1
# Jobs that the worker does at once.
CONCURRENCY = 2


class Fault(StrEnum):
    """What is killed with SIGKILL; what has no supervisor of ours is started again by the run, as a host would."""

    API = "api"
    RELAY = "relay"
    WORKER = "worker"
    READER = "reader"
    CHILD = "child"
    REDIS = "redis"
    # While every worker is taken and hints wait: ten routes' splices are posted at once.
    REDIS_FULL = "redis_full"
    BACKEND = "backend"
    POSTGRES = "postgres"


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How much is posted, how often something is killed, and what."""

    records: int
    kills: int
    seed: int
    faults: Sequence[Fault] = tuple(Fault)
    # For the parts, beside their settings.
    environment: dict[str, str] = field(default_factory=dict)

    def draw(self, name: str) -> Random:
        """Return chances of one's own: those of others do not move them."""
        return Random(f"{self.seed}/{name}")

    def order(self) -> list[Fault]:
        """Return the faults one after the other, each kind about as often as another."""
        draw, drawn = self.draw("faults"), list[Fault]()
        while len(drawn) < self.kills:
            deck = list(self.faults)
            draw.shuffle(deck)
            drawn += deck
        return drawn[: self.kills]
