"""The losses of a fibre's splices added up from A, and what that comes to in each tube: exact sums of findings."""

from collections import defaultdict
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.design.colours import TubePlace, place_in_cable
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import to_last_place
from worker.package.data.findings import Finding
from worker.package.pictures.fixed_point import to_fixed
from worker.package.pictures.splice_distribution import connections_of, is_held_as_splice

# One splice: the index of its site, and the bounds of its loss in 0.0001 dB. There are tens of thousands of them, and
# plain tuples of numbers are no work for the garbage collector.
Step = tuple[int, int, int]


class Sum(NamedTuple):
    """What a fibre comes to at the far end, in 0.0001 dB."""

    fixed: int
    fibre: int


class Level(NamedTuple):
    """What the fibres of a tube have come to behind a site, in 0.0001 dB; a sum of bounds is a bound of the sum."""

    from_a_um: int
    lowest: int
    highest: int
    mean: Fraction


@dataclass(frozen=True, kw_only=True)
class TubeLoss:
    """A tube's fibres: those of which each splice is known are added up, the others only counted."""

    place: TubePlace
    fibres: Sequence[int]
    known: Mapping[int, Sequence[Step]]
    levels: Sequence[Level]

    @cached_property
    def highest(self) -> Sum:
        """The highest sum, and the first fibre that has it."""
        sums = (Sum(sum(high for _, _, high in steps), fibre) for fibre, steps in self.known.items())
        return max(sums, key=lambda one: one.fixed)

    @cached_property
    def lowest(self) -> Sum:
        """The lowest sum, and the first fibre that has it."""
        sums = (Sum(sum(low for _, low, _ in steps), fibre) for fibre, steps in self.known.items())
        return min(sums, key=lambda one: one.fixed)


def tube_losses(
    criterion: SpliceLossCriterion,
    findings: Sequence[Finding],
    layout: Layout,
    *,
    fibres: Sequence[int],
    judged: Container[int],
) -> Sequence[TubeLoss]:
    """Return the tubes, as the first section has them, of some fibres; findings come in route order."""
    limit, connections = to_last_place(criterion.limit_db, places=4), connections_of(layout)
    known: dict[int, list[Step]] = {fibre: [] for fibre in fibres if fibre in judged}
    for finding in findings:
        if finding.site is None:
            # What is found of the fibre between its joints is no splice.
            continue
        fibre, _ = finding.joint
        if fibre in known and finding.joint not in connections:
            step = _step(finding, layout, limit=limit)
            if step is None:
                del known[fibre]
            else:
                known[fibre].append(step)
    tubes: defaultdict[TubePlace, list[int]] = defaultdict(list)
    for fibre in fibres:
        tubes[_tube(fibre, layout)].append(fibre)
    losses = []
    for place, own in tubes.items():
        steps = {fibre: known[fibre] for fibre in own if fibre in known}
        losses.append(TubeLoss(place=place, fibres=own, known=steps, levels=list(_levels(steps, layout))))
    return losses


def _step(finding: Finding, layout: Layout, *, limit: int) -> Step | None:
    """Return what is known of a splice; bounds that are only too wide to decide are bounds all the same."""
    is_decided = finding.outcome is not Outcome.UNDETERMINED or finding.reason == Reason.BOUND_TOO_WIDE
    if not is_decided or not is_held_as_splice(finding, limit=limit):
        return None
    index = layout.site_index[finding.joint[1]]
    low, high = (finding.low, finding.high) if finding.value is None else (finding.value, finding.value)
    return index, to_fixed(low), to_fixed(high)


def _tube(fibre: int, layout: Layout) -> TubePlace:
    section, cable_fibre = layout.design.sections[0], layout.cable_numbers[0][fibre - 1]
    place = place_in_cable(cable_fibre, fibres_per_tube=section.fibres_per_tube, scheme=section.colour_scheme)
    return place._replace(fibre=0, fibre_colour="")


def _levels(known: Mapping[int, Sequence[Step]], layout: Layout) -> Iterator[Level]:
    at_site: defaultdict[int, list[tuple[int, int, int]]] = defaultdict(list)
    for fibre, steps in known.items():
        for index, low, high in steps:
            at_site[index].append((fibre, low, high))
    lows, highs = dict.fromkeys(known, 0), dict.fromkeys(known, 0)
    for index, splices in sorted(at_site.items()):
        for fibre, low, high in splices:
            lows[fibre] += low
            highs[fibre] += high
        yield Level(
            from_a_um=layout.site_offsets_um[index],
            lowest=min(lows.values()),
            highest=max(highs.values()),
            mean=Fraction(sum(lows.values()) + sum(highs.values()), 2 * len(known)),
        )
