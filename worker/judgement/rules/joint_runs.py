"""Rules with one finding for each joint of a kind: those that plainly conform are given together, as columns.

On a finished route these are nearly all findings there are. Every joint of a run lies alone at its place, so that what
is known of all of them can be held against the limit in one pass; any other joint goes the general way.
"""

from abc import abstractmethod
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache, partial
from itertools import groupby
from typing import TypeVar

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.design.words import JointKind
from worker.judgement.fibre.findings import Finding, JointRun, PlainFindings, RecordedValues
from worker.judgement.fibre.losses import PlainLosses
from worker.judgement.fibre.measured import FibreMeasured, PlacedJoints
from worker.judgement.numbers.limits import Limit
from worker.judgement.rules.base import Rule
from worker.judgement.traces.places import Place

CriterionT = TypeVar("CriterionT", bound=Criterion)
Shown = PlainLosses | RecordedValues
_Piece = JointRun | tuple[Place, Joint]
# Of how many splice plans and dead zones a rule keeps which joints are its own.
_KEPT = 64


class JointRunRule(Rule[CriterionT]):
    """A criterion about each joint of a kind; `said` are the words before what a plain finding rests on."""

    kind: JointKind | None = JointKind.SPLICE
    said: str = ""

    def __init__(self, criterion: CriterionT, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self._pieces_of = lru_cache(maxsize=_KEPT)(self._find_pieces)

    @abstractmethod
    def finding(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Finding:
        """Return the finding about a joint, whatever is known of it."""

    @abstractmethod
    def show_plainly(self, fibre: FibreMeasured, run: JointRun) -> tuple[Shown, Sequence[int | None]] | None:
        """Return what a run's joints are judged by and the value of each, None where it does not plainly conform."""

    @property
    def plain_limit(self) -> Limit | None:
        """The limit that plain findings name, if they name one."""
        return None

    def found(self, fibre: FibreMeasured) -> Iterable[Finding | PlainFindings]:
        """Give one finding for each joint, those that plainly conform as columns."""
        # A splice that is not finished conforms to nothing, so that each is looked at.
        if self.kind is None or fibre.unfinished:
            return self.findings(fibre)
        return self._found_by_runs(fibre)

    def _found_by_runs(self, fibre: FibreMeasured) -> Iterator[Finding | PlainFindings]:
        for piece in self._pieces_of(fibre.placed):
            if not isinstance(piece, JointRun):
                yield self.finding(fibre, *piece)
                continue
            known = self.show_plainly(fibre, piece)
            if known is None:
                yield from self._in_full(fibre, piece, 0, len(piece.joints))
                continue
            shown, values = known
            for first, end, is_plain in _stretches(values):
                in_full = partial(self._in_full, fibre, piece, first, end)
                if is_plain:
                    own = [one for one in values[first:end] if one is not None]
                    yield PlainFindings(
                        self.criterion,
                        self.plain_limit,
                        fibre.number,
                        piece,
                        first,
                        end,
                        self.said,
                        own,
                        shown,
                        in_full,
                    )
                else:
                    yield from in_full()

    def _in_full(self, fibre: FibreMeasured, run: JointRun, first: int, end: int) -> Iterator[Finding]:
        for joint, place in zip(run.joints[first:end], run.places[first:end], strict=True):
            yield self.finding(fibre, fibre.places[place], joint)

    def _find_pieces(self, placed: PlacedJoints) -> tuple[_Piece, ...]:
        """Return the joints that the criterion is about: in runs, but for those that share a place or a dead zone."""
        assert self.kind is not None
        index_of = {place.site_index: index for index, place in enumerate(placed.places)}
        pieces: list[_Piece] = []
        own = self.joints_among(placed, self.kind)
        for is_alone, group in groupby(own, key=lambda one: _is_alone(one[0])):
            if is_alone:
                places, joints = zip(*group, strict=True)
                pieces.append(JointRun(joints, tuple([index_of[place.site_index] for place in places])))
            else:
                pieces += group
        return tuple(pieces)


def _is_alone(place: Place) -> bool:
    return not (place.is_group or place.is_end or place.zone)


def _stretches(values: Sequence[int | None]) -> Iterator[tuple[int, int, bool]]:
    """Give from where to where values are all there, or are all missing."""
    if None not in values:
        yield 0, len(values), True
        return
    first = 0
    for is_missing, group in groupby(value is None for value in values):
        end = first + sum(1 for _ in group)
        yield first, end, not is_missing
        first = end
