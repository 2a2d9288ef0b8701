"""The demo route: an invented trunk of 24 fibres with five closures, one of which half its fibres pass uncut."""

from collections.abc import Sequence
from dataclasses import dataclass

from tests.bodies import Body
from tests.bodies.routes import make_design, make_section, make_segment, make_site, make_terminal
from tests.simulator.draws import Floats
from tests.simulator.glass import draw_truth
from tests.simulator.truth import RouteTruth, fibre_lengths_m

FIBRE_COUNT = 24
UNCUT_AT_C3 = tuple(range(13, 25))
SEED = 20260309

_SLACK_M = 20.0
_EXCESS_PERCENT = 1.2


@dataclass(frozen=True, kw_only=True)
class _Stretch:
    """A section's cable as designed, and the excess its fibre really has."""

    id: str
    cable_length_m: float
    reel: str
    true_excess_percent: float


_SITES = (
    ("A", "Oldenmere exchange hall", "terminal"),
    ("C1", "Sorrel Bridge, north abutment", "splice_closure"),
    ("C2", "Lime Kiln Lane, chamber 14", "splice_closure"),
    ("C3", "Larkfen crossing, chamber 22", "splice_closure"),
    ("C4", "Pump House Road, chamber 31", "splice_closure"),
    ("C5", "Withy Bank, chamber 40", "splice_closure"),
    ("B", "Tarnhollow machine hall", "terminal"),
)
_STRETCHES = (
    _Stretch(id="S1", cable_length_m=2412.0, reel="R-1041", true_excess_percent=1.17),
    _Stretch(id="S2", cable_length_m=3087.5, reel="R-1042", true_excess_percent=1.22),
    _Stretch(id="S3", cable_length_m=1558.0, reel="R-1043", true_excess_percent=1.21),
    _Stretch(id="S4", cable_length_m=2240.0, reel="R-1043", true_excess_percent=1.21),
    _Stretch(id="S5", cable_length_m=3846.0, reel="R-1044", true_excess_percent=1.16),
    _Stretch(id="S6", cable_length_m=2905.5, reel="R-1045", true_excess_percent=1.23),
)


def demo_design() -> Body:
    """Return the route as its contractor describes it."""
    west, east = ("A", "C1", "C2", "C3"), ("C4", "C5", "B")
    return make_design(
        code="OT-07",
        name="Oldenmere to Tarnhollow",
        fibre_count=FIBRE_COUNT,
        sites=[
            make_site(id_, name=name) if kind == "splice_closure" else make_terminal(id_, name=name)
            for id_, name, kind in _SITES
        ],
        sections=[_section(stretch) for stretch in _STRETCHES],
        segments=[
            _segment("west", "Oldenmere to Larkfen crossing", "7-110", sites=west, sections=("S1", "S2", "S3")),
            _segment("east", "Larkfen crossing to Tarnhollow", "7-120", sites=east, sections=("S4", "S5", "S6")),
        ],
        splice_plan=[{"site": "C3", "fibres": {"first": UNCUT_AT_C3[0], "last": UNCUT_AT_C3[-1]}, "action": "uncut"}],
    )


def demo_truth() -> RouteTruth:
    """Return what the demo route is when its closures have been sealed for the first time."""
    sites = [id_ for id_, _, _ in _SITES]
    honest = draw_truth(
        sites=sites,
        section_lengths_m=_true_lengths_m(),
        fibre_count=FIBRE_COUNT,
        uncut={sites.index("C3"): UNCUT_AT_C3},
        seed=SEED,
    )
    # The splice was good and its estimate said so; its fibre was pinched in the tray when the lid was shut. A bend
    # shows far more at the longer wavelength.
    return honest.with_splice_loss(fibre=20, site="C5", losses_db=(0.07, 0.232))


def repaired_truth() -> RouteTruth:
    """Return what the demo route is once the bend at C5 is relieved."""
    return demo_truth().with_splice_loss(fibre=20, site="C5", losses_db=(0.034, 0.031))


def _true_lengths_m() -> Floats:
    return fibre_lengths_m(
        cable_lengths_m=[stretch.cable_length_m for stretch in _STRETCHES],
        slacks_m=[_SLACK_M] * len(_STRETCHES),
        excesses_percent=[stretch.true_excess_percent for stretch in _STRETCHES],
    )


def _section(stretch: _Stretch) -> Body:
    return make_section(
        stretch.id,
        cable_length_m=stretch.cable_length_m,
        slack_m=_SLACK_M,
        excess_percent=_EXCESS_PERCENT,
        reel=stretch.reel,
        fibres_per_tube=12,
        colour_scheme="tia_598",
        optics=[
            {"wavelength_nm": 1310, "group_index": 1.4677, "backscatter_db": -79.5},
            {"wavelength_nm": 1550, "group_index": 1.4682, "backscatter_db": -81.5},
        ],
    )


def _segment(id_: str, name: str, billing_item: str, *, sites: Sequence[str], sections: Sequence[str]) -> Body:
    return make_segment(
        id_, sites=sites, sections=sections, fibre_count=FIBRE_COUNT, name=name, billing_item=billing_item
    )
