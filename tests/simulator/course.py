"""Draw a route as its design states it and as it was built: excess, slack and index are never quite what was written.

An honest route: joints lie where their cables end, a few pass uncut, now and then two closures stand close together.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tests.bodies import Body
from tests.bodies.routes import make_design, make_section
from tests.simulator.cables import draw_cables, draw_excess, lengths_m, lengths_of_fibres
from tests.simulator.draws import Floats, start
from tests.simulator.equipment import draw_gear
from tests.simulator.geometry import PLAIN, Geometry
from tests.simulator.glass import draw_truth
from tests.simulator.rounds import Gear
from tests.simulator.truth import RouteTruth

_MOST_EXPRESS_SITES = 4


@dataclass(frozen=True, kw_only=True)
class Course:
    """A route's design with the truth behind it; `uncut` gives, by the index of a site, the fibres that pass it.

    Each fibre is shot with every one of `pulses_ns`, the shortest first.
    """

    seed: int
    design: Body
    truth: RouteTruth
    gear: Gear
    pulses_ns: tuple[int, ...]
    uncut: Mapping[int, tuple[int, ...]]
    designed_lengths_m: Floats
    geometry: Geometry = PLAIN

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

    def in_design_m(self, fibre: int, from_a_m: float) -> float:
        """Return where the design has a spot of a fibre that lies so far from A in truth."""
        return float(np.interp(from_a_m, self.truth.site_offsets_m[fibre - 1], self.designed_offsets_m))


def draw_course(*, seed: int, fibres: int, geometry: Geometry = PLAIN) -> Course:
    """Draw an honest route between two terminals."""
    source, closures = start(seed, 20), geometry.closures
    sites = ("A", *(f"C{number}" for number in range(1, closures + 1)), "B")
    cables = draw_cables(source, geometry)
    stated_percent, excesses_percent = draw_excess(source, geometry)
    mean_m = cables.built_lengths_m(source, excesses_percent)
    uncut = _draw_uncut(source, closures=closures, fibres=fibres)
    truth = draw_truth(
        sites=sites,
        section_lengths_m=lengths_of_fibres(mean_m, geometry, seed=seed, fibres=fibres),
        fibre_count=fibres,
        uncut=uncut,
        seed=seed,
    )
    pulses_ns, gear = draw_gear(source, truth, geometry)
    return Course(
        seed=seed,
        design=make_design(
            code="TRIAL",
            closures=closures,
            fibre_count=fibres,
            sections=[
                make_section(f"S{number}", cable_length_m=length_m, slack_m=slack_m, excess_percent=stated_percent)
                for number, (length_m, slack_m) in enumerate(
                    zip(cables.lengths_m.tolist(), cables.slacks_m.tolist(), strict=True), 1
                )
            ],
            splice_plan=[
                {"site": sites[at], "fibres": {"first": own[0], "last": own[-1]}, "action": "uncut"}
                for at, own in uncut.items()
            ],
        ),
        truth=truth,
        gear=gear,
        pulses_ns=pulses_ns,
        uncut=uncut,
        designed_lengths_m=lengths_m(cables.lengths_m, cables.slacks_m, np.full(closures + 1, stated_percent)),
        geometry=geometry,
    )


def _draw_uncut(source: np.random.Generator, *, closures: int, fibres: int) -> dict[int, tuple[int, ...]]:
    """Draw the express fibres: at some closures one end of the cable's numbers passes in one piece."""
    count = int(source.integers(_MOST_EXPRESS_SITES + 1))
    at = sorted(source.choice(np.arange(1, closures + 1), size=count, replace=False).tolist())
    return {site: tuple(range(1, int(source.integers(1, fibres)) + 1)) for site in at}
