"""Traces that are not what they are posted as: of the route from its other end, or of a fibre with another plan."""

from collections.abc import Sequence
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from service.vocabulary.design.design import FibreRange
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import FibreAction
from service.vocabulary.findings.words import Reason
from worker.judgement.history.acts import Trace
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.event_assignment import assign
from worker.judgement.traces.spots import Spots
from worker.judgement.traces.targets import Target

# One event more or less is an unseen splice or a bend.
_CLEARLY = 2


class SplicePlan(NamedTuple):
    """The sites, by index, at which some fibres have joints, and those fibres."""

    sites: tuple[int, ...]
    fibres: tuple[FibreRange, ...]


class Unlike(NamedTuple):
    """Why a trace is likelier to be another's, and which fibres have the plan that it fits."""

    reason: Reason
    fibres: tuple[FibreRange, ...]


class _Fit(NamedTuple):
    fitting: int
    unexpected: int
    missing: int

    @property
    def cost(self) -> int:
        return self.unexpected + self.missing


@lru_cache(maxsize=8)
def splice_plans(layout: Layout) -> tuple[SplicePlan, ...]:
    """Return the different plans of a route, that of most fibres first."""
    if not layout.design.splice_plan:
        return ()
    fibres_of: dict[tuple[int, ...], list[int]] = {}
    for fibre in range(1, layout.design.fibre_count + 1):
        fibres_of.setdefault(_sites_of(layout, fibre), []).append(fibre)
    most_first = sorted(fibres_of.items(), key=lambda item: (-len(item[1]), item[1]))
    return tuple(SplicePlan(sites, _ranges(fibres)) for sites, fibres in most_first)


def find_unlike(spots: Spots, trace: Trace, scale: DistanceScale, *, own_sites: Sequence[int]) -> Unlike | None:
    """Return what a trace fits clearly better than the joints of its own fibre between its two ends."""
    own_um = _inside_um(spots, trace, scale, own_sites)
    own = _fit(scale, own_um)
    if not own.unexpected or scale.shortfall is Reason.LENGTH_UNLIKE:
        return None
    back = _fit(scale, [scale.span_um - along_um for along_um in reversed(own_um)])
    if back.fitting >= own.fitting + _CLEARLY and back.cost + _CLEARLY <= own.cost:
        return Unlike(Reason.ROUTE_REVERSED, ())
    fits = [(_fit(scale, _inside_um(spots, trace, scale, plan.sites)), plan) for plan in splice_plans(spots.layout)]
    better = [item for item in fits if item[0].fitting > own.fitting and item[0].cost + _CLEARLY <= own.cost]
    if not better:
        return None
    _, plan = min(better, key=lambda item: item[0].cost)
    return Unlike(Reason.OTHER_FIBRE_LIKELIER, plan.fibres)


def _sites_of(layout: Layout, fibre: int) -> tuple[int, ...]:
    joined = {FibreAction.SPLICED, FibreAction.TERMINATED}
    return tuple(index for index, site in enumerate(layout.design.sites) if layout.action(site, fibre) in joined)


def _ranges(fibres: Sequence[int]) -> tuple[FibreRange, ...]:
    # In a run of rising numbers each is as far from its place in the list as the one before.
    runs = [[fibre for _, fibre in run] for _, run in groupby(enumerate(fibres), key=lambda one: one[1] - one[0])]
    return tuple(FibreRange(first=run[0], last=run[-1]) for run in runs)


def _inside_um(spots: Spots, trace: Trace, scale: DistanceScale, sites: Sequence[int]) -> list[int]:
    """Return how far from a trace's near end, on the span's way, the sites inside it lie, in order."""
    near_um, far_um = (spots.offsets_um[end] for end in trace.ends)
    along_um = [abs(spots.offsets_um[site] - near_um) for site in sites if trace.low_index < site < trace.high_index]
    located_um = abs(far_um - near_um)
    return sorted(along * scale.span_um // located_um for along in along_um) if located_um else [0] * len(along_um)


def _fit(scale: DistanceScale, along_um: Sequence[int]) -> _Fit:
    """Return how the events inside a span fit joints there; those at its two ends fit either way."""
    first_um, last_um = scale.start_um + scale.tolerance_um, scale.end_um - scale.tolerance_um
    expected_um = [at_um for at_um in scale.all_on_trace_um(along_um) if first_um < at_um < last_um]
    events_um = [at_um for at_um in scale.events.at_um if first_um < at_um < last_um]
    found = assign([Target(at_um, at_um, scale.tolerance_um, is_group=False) for at_um in expected_um], events_um)
    joint_um = max((events_um[events[-1]] for events in found.events_of_target if events), default=None)
    missing = sum(
        not events and scale.reaches(at_um, joint_um=joint_um)
        for at_um, events in zip(expected_um, found.events_of_target, strict=True)
    )
    return _Fit(sum(map(bool, found.events_of_target)), len(found.left_over), missing)
