"""Scoring whether what people did to the papers is said: by its size, where it has one."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from tests.acceptance.figures import Share
from tests.acceptance.trials import JudgedFibre
from tests.simulator.faults import Fault, FaultKind

# What was put into the splice whose event is changed; it loses some hundredths of a dB besides.
_SIZED = {FaultKind.DELETED_EVENT, FaultKind.INVERTED_SIGN}
_STEP_DB = 0.05
# Of what is as large as this at least nineteen in twenty are said.
LEAST_SAID = 0.95


@dataclass(kw_only=True)
class PeopleScore:
    """Of each fibre's papers that somebody changed: by how much, and whether anything was said of it."""

    fibres: list[tuple[float, bool]] = field(default_factory=list)

    def add(self, fibre: JudgedFibre, fault: Fault) -> None:
        """Score one fibre: it is said of it that not all is proven, or that its tests look unlikely in honest work."""
        is_open = bool(fibre.left_open) or any(one["outcome"] == "undetermined" for one in fibre.findings)
        is_said = bool(fibre.suspected_of) or (fault.kind in _SIZED and is_open)
        self.fibres.append((fault.size_db, is_said))

    def merge(self, other: "PeopleScore") -> None:
        """Add what was scored elsewhere."""
        self.fibres += other.fibres

    def said(self, *, from_db: float = 0.0) -> Share:
        """Return the share said of what is at least so large."""
        own = [is_said for size_db, is_said in self.fibres if size_db >= from_db]
        return Share(sum(own), len(own))

    @property
    def size_db(self) -> float | None:
        """The least size, in steps, from which on enough is said."""
        most_db = max((size_db for size_db, _ in self.fibres), default=0.0)
        sizes_db = (round(step * _STEP_DB, 2) for step in range(int(most_db / _STEP_DB) + 1))
        shares = ((size_db, self.said(from_db=size_db)) for size_db in sizes_db)
        return next((size_db for size_db, share in shares if share.of and share.count / share.of >= LEAST_SAID), None)

    def describe(self, kind: FaultKind) -> Iterator[str]:
        """Say how much was said."""
        yield f"{kind}: said of {self.said()}"
        if kind in _SIZED:
            size_db = self.size_db
            yield f"  95 % said from {'no size' if size_db is None else f'{size_db} dB: {self.said(from_db=size_db)}'}"
