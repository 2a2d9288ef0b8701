"""Draw a route as its design states it and as it was built: excess, slack and index are never quite what was written.

An honest route: joints lie where their cables end, a few pass uncut, now and then two closures stand close together.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tests.bodies import Body
from tests.bodies.routes import make_design, make_sections
from tests.simulator.crew import Hand
from tests.simulator.draws import Floats, draw_around, draw_between, rounded, start
from tests.simulator.glass import draw_truth
from tests.simulator.rounds import Gear, make_gear
from tests.simulator.truth import RouteTruth, fibre_lengths_m

CLOSURES = 22
_SLACK_M = 20.0
_SHARE_WITH_SHORT_SECTION = 0.25
_SHARE_WITHOUT_STATED_EXCESS = 0.3
_MOST_EXPRESS_SITES = 4
_MOST_INDEX_ERROR = 0.005
_PULSES_NS = (30, 100, 300)
_HAND_AT_A = Hand(operator="p-3k7", device="tablet-31")
_HAND_AT_B = Hand(operator="p-5t2", device="tablet-32")


@dataclass(frozen=True, kw_only=True)
class Course:
    """A route's design with the truth behind it; `uncut` gives, by the index of a site, the fibres that pass it."""

    seed: int
    design: Body
    truth: RouteTruth
    gear: Gear
    uncut: Mapping[int, tuple[int, ...]]
    designed_lengths_m: Floats

    @property
    def sites(self) -> tuple[str, ...]:
        """The sites' ids in order from A."""
        return self.truth.sites

    @property
    def designed_offsets_m(self) -> Floats:
        """Where the design puts each site, in metres of fibre from A."""
        return np.concatenate([[0.0], np.cumsum(self.designed_lengths_m)])

    @property
    def tolerance_m(self) -> float:
        """How far a joint may lie from its design: 10 m or 0.2 % of the length, common practice."""
        return max(10.0, 0.002 * float(self.designed_lengths_m.sum()))

    def in_design_m(self, from_a_m: float) -> float:
        """Return where the design has a spot of the fibre that lies so far from A in truth."""
        return float(np.interp(from_a_m, self.truth.site_offsets_m, self.designed_offsets_m))


def draw_course(*, seed: int, fibres: int, closures: int = CLOSURES) -> Course:
    """Draw an honest route between two terminals."""
    source, sections = start(seed, 20), closures + 1
    sites = ("A", *(f"C{number}" for number in range(1, sections)), "B")
    cables_m = _draw_cables(source, sections)
    stated, excesses_percent = _draw_excess(source, sections)
    slacks_m = draw_between(source, (sections,), low=-10, high=10) + _SLACK_M
    uncut = _draw_uncut(source, closures=closures, fibres=fibres)
    truth = draw_truth(
        sites=sites,
        section_lengths_m=_lengths_m(cables_m, slacks_m, excesses_percent),
        fibre_count=fibres,
        uncut=uncut,
        seed=seed,
    )
    return Course(
        seed=seed,
        design=make_design(
            code="TRIAL",
            closures=closures,
            fibre_count=fibres,
            sections=make_sections(cables_m.tolist(), slack_m=_SLACK_M, excess_percent=stated),
            splice_plan=[
                {"site": sites[at], "fibres": {"first": own[0], "last": own[-1]}, "action": "uncut"}
                for at, own in uncut.items()
            ],
        ),
        truth=truth,
        gear=_draw_gear(source, truth),
        uncut=uncut,
        designed_lengths_m=_lengths_m(cables_m, np.full(sections, _SLACK_M), np.full(sections, stated)),
    )


def _lengths_m(cables_m: Floats, slacks_m: Floats, excesses_percent: Floats) -> Floats:
    return fibre_lengths_m(
        cable_lengths_m=cables_m.tolist(), slacks_m=slacks_m.tolist(), excesses_percent=excesses_percent.tolist()
    )


def _draw_cables(source: np.random.Generator, sections: int) -> Floats:
    """Draw the sections' sheath: a short or a long route, a quarter of them with two sites close together."""
    scale = draw_between(source, (), low=0.3, high=2.0)
    cables_m = scale * draw_between(source, (sections,), low=500, high=3000)
    if source.random() < _SHARE_WITH_SHORT_SECTION:
        cables_m[source.integers(sections)] = draw_between(source, (), low=5, high=150)
    return rounded(cables_m, 1)


def _draw_excess(source: np.random.Generator, sections: int) -> tuple[float, Floats]:
    """Draw what the design states of the excess, and what each section's is, from 0 to 3 percent."""
    true_percent = float(rounded(draw_between(source, (), low=0, high=2.6), 2))
    is_stated = source.random() >= _SHARE_WITHOUT_STATED_EXCESS
    own = np.clip(draw_around(source, (sections,), centre=true_percent, deviation=0.1), 0, 3)
    return (true_percent if is_stated else 0.0), own


def _draw_uncut(source: np.random.Generator, *, closures: int, fibres: int) -> dict[int, tuple[int, ...]]:
    """Draw the express fibres: at some closures one end of the cable's numbers passes in one piece."""
    count = int(source.integers(_MOST_EXPRESS_SITES + 1))
    at = sorted(source.choice(np.arange(1, closures + 1), size=count, replace=False).tolist())
    return {site: tuple(range(1, int(source.integers(1, fibres)) + 1)) for site in at}


def _draw_gear(source: np.random.Generator, truth: RouteTruth) -> Gear:
    """Draw the instruments' settings; both ends were told the same index, wrong by the same."""
    pulse_ns = _PULSES_NS[source.integers(len(_PULSES_NS))]
    gear = make_gear(
        hand_at_a=_HAND_AT_A, hand_at_b=_HAND_AT_B, loss_threshold_db=0.02, pulse_ns=pulse_ns, range_m=160_000.0
    )
    error = draw_between(source, (), low=-_MOST_INDEX_ERROR, high=_MOST_INDEX_ERROR)
    indices = rounded(truth.group_index + error, 5).tolist()
    index = dict(zip(truth.wavelengths_nm, indices, strict=True))
    return replace(
        gear,
        otdr_at_a=replace(gear.otdr_at_a, group_index=index),
        otdr_at_b=replace(gear.otdr_at_b, group_index=index),
    )
