"""What the stories of acts are told with: a fibre whose records come one after the other."""

from collections.abc import Sequence

from service.vocabulary.findings.finding import WorkDocument
from service.vocabulary.findings.words import Act
from tests.factories import Body, make_closure_state, only, sealed, spliced
from tests.unit.judgement.judging import judge, ready_items

REWORKED, RESEALED, CLEANED, INSPECTED, RETESTED = (f"2025-03-{day}T08:00:00Z" for day in (24, 25, 26, 27, 30))
SIDES = ("towards_a", "towards_b")


class Story:
    """A fibre, its criteria, and its records so far."""

    def __init__(self, *criteria: Body, design: Body | None = None) -> None:
        self._criteria = only(*criteria)
        self._design = design
        self._records: list[Body] = []

    def add(self, *records: Body) -> "Story":
        """Add records."""
        self._records += records
        return self

    def asked(self, act: Act) -> list[WorkDocument]:
        """Return the items that ask for an act."""
        return [item for item in self.work if item["act"] == act]

    @property
    def work(self) -> Sequence[WorkDocument]:
        """Everything that can be done now, without what is done for the first time."""
        return ready_items(judge(self._records, criteria=self._criteria, design=self._design))


def opened_and_sealed(site: str) -> list[Body]:
    """Return a closure opened for rework and sealed after it."""
    opened = make_closure_state(site=site, state="opened", made_at="2025-03-23T08:00:00Z")
    return [opened, make_closure_state(site=site, made_at=RESEALED)]


def finished(*records: Body) -> list[Body]:
    """Return a fibre spliced and its closures sealed, with further records."""
    return [*spliced(), *sealed(), *records]
