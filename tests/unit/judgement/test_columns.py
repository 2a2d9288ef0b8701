"""What is read by columns where nothing is in doubt comes out as if each event were looked at by itself.

Fibres are drawn as rough as can be, and judged twice: as they are, and with every short cut declined.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.vocabulary.design.layout import Layout
from tests.factories import (
    Body,
    bend_criterion,
    coefficient_criterion,
    criteria_of,
    layout_of,
    length_criterion,
    link_criterion,
    make_attenuation,
    make_criteria,
    make_design,
    make_otdr,
    make_sections,
    make_splice,
    reflectance_criterion,
    required_test_criterion,
    return_loss_criterion,
    sealed,
    splice_criterion,
    stored,
    stray_criterion,
    termination_criterion,
)
from worker.judgement.history import lids, parts, trace_records
from worker.judgement.judge import FibreJudgement, Rules
from worker.judgement.traces import event_assignment, sightings, trace_alignment
from worker.judgement.traces.spots import Spot, Spots, located_spots

WAVELENGTHS_NM = (1310, 1550)
CRITERIA = make_criteria(
    criteria=[
        *(
            criterion
            for nm in WAVELENGTHS_NM
            for criterion in (
                required_test_criterion(code=f"OTDR-{nm}", wavelength_nm=nm),
                splice_criterion(code=f"SPLICE-{nm}", wavelength_nm=nm),
                termination_criterion(code=f"TERM-{nm}", wavelength_nm=nm),
                link_criterion(code=f"LINK-{nm}", wavelength_nm=nm),
                stray_criterion(code=f"STRAY-{nm}", wavelength_nm=nm),
                coefficient_criterion(code=f"COEFF-{nm}", wavelength_nm=nm, least_length_m=500.0),
            )
        ),
        bend_criterion(),
        reflectance_criterion(),
        return_loss_criterion(basis="computed"),
        length_criterion(),
    ]
)
# Every short cut, and what it answers where it is not taken.
SHORT_CUTS: tuple[tuple[Any, str, Any], ...] = (
    (event_assignment, "_are_apart", False),
    (lids, "_is_sealed_once", False),
    (parts, "_are_all_stated", False),
    (sightings, "_plain_sightings", None),
    (trace_alignment, "_is_clear_alone", False),
    (trace_records, "_are_in_order", False),
)


@contextmanager
def every_short_cut_declined() -> Iterator[None]:
    """Judge in the general way alone."""
    with pytest.MonkeyPatch.context() as patch:
        for module, name, answer in SHORT_CUTS:
            patch.setattr(module, name, lambda *_, answer=answer, **__: answer)
        yield


@st.composite
def designs(draw: st.DrawFn) -> Body:
    """Return a route of a few closures, some so near each other that a pulse takes them together."""
    lengths_m = draw(st.lists(st.sampled_from([12.0, 40.0, 300.0, 1500.0, 1500.0]), min_size=2, max_size=6))
    return make_design(
        closures=len(lengths_m) - 1,
        termination=draw(st.sampled_from(["pigtail", "factory_cord"])),
        sections=make_sections(lengths_m),
    )


def changed(draw: st.DrawFn, event: Body) -> list[Body]:
    """Return an event as it may come: most as they are, some moved, lost, doubled, without a loss, or an echo."""
    own = event | {
        "loss_db": draw(st.integers(-60, 400)) / 1000,
        "attenuation_db_per_km": draw(st.sampled_from([0.2, 0.21, 0.215])),
    }
    match draw(st.sampled_from(["same"] * 30 + ["moved", "lost", "doubled", "unstated", "bare", "reflects", "away"])):
        case "moved":
            return [own | {"distance_m": _apart_m(own, draw(st.integers(-3000, 3000)))}]
        case "away":
            return [own, own | {"distance_m": _apart_m(own, draw(st.integers(5_000, 60_000)))}]
        case "lost":
            return []
        case "doubled":
            return [own, own | {"distance_m": _apart_m(own, draw(st.integers(0, 800)))}]
        case "unstated":
            return [{name: one for name, one in own.items() if name != "loss_db"}]
        case "bare":
            return [{name: one for name, one in own.items() if name != "attenuation_db_per_km"}]
        case "reflects":
            return [own | {"kind": "reflective", "loss_db": 0.0, "reflectance_db": -55.0}]
    return [own]


def _apart_m(event: Body, apart_cm: int) -> float:
    at_m: float = event["distance_m"] + apart_cm / 100
    return round(max(at_m, 0.0), 2)


@st.composite
def traces(draw: st.DrawFn, design: Body) -> list[Body]:
    """Return a fibre's traces: from both ends at both wavelengths, and a second pulse now and then."""
    found: list[Body] = []
    pulses_ns = draw(st.sampled_from([[30], [30], [300], [30, 300]]))
    noise: Body = draw(
        st.sampled_from([{}, {"dynamic_range": {"range_db": 38.0, "pulse_ns": 10_000, "averaging_s": 180.0}}])
    )
    for pulse_ns in pulses_ns:
        for ends in (("A", "B"), ("B", "A")):
            for nm in WAVELENGTHS_NM:
                posted = make_otdr(
                    from_site=ends[0],
                    to_site=ends[1],
                    design=design,
                    wavelength_nm=nm,
                    pulse_ns=pulse_ns,
                    device=f"otdr-{ends[0]}-{nm}-{pulse_ns}",
                    loss_threshold_db=draw(st.sampled_from([0.001, 0.02])),
                    **noise,
                )
                *events, end = posted["events"]
                events = [one for event in events for one in changed(draw, event)]
                if draw(st.integers(0, 19)) == 0:
                    # A trace that stops short, or lists in another order.
                    events, end = events[: len(events) // 2], end | {"distance_m": end["distance_m"] / 2}
                last_m, length_m = end["distance_m"], posted["length_m"]
                cord_m = posted["launch_cord"]["length_m"]
                loss_db = round(sum(one.get("loss_db", 0.0) for one in events) + length_m / 1000 * 0.2, 3)
                total = {"loss_db": loss_db, "from_m": cord_m, "to_m": round(cord_m + length_m, 2)}
                is_told = draw(st.booleans()) and total["to_m"] <= last_m
                found.append(
                    posted | {"events": draw(orders([*events, end]))} | ({"total_loss": total} if is_told else {})
                )
    return found


def orders(events: list[Body]) -> st.SearchStrategy[list[Body]]:
    """Return events in order of distance nearly always."""
    in_order = sorted(events, key=lambda one: one["distance_m"])
    return st.sampled_from([in_order] * 9 + [events[::-1]])


@st.composite
def fibres(draw: st.DrawFn) -> tuple[Body, list[Body], dict[int, Spot]]:
    """Return a design, a fibre's records, and where its cable's fibres show sites to be."""
    design = draw(designs())
    sites = [site["id"] for site in design["sites"]]
    closures = sites[1:-1]
    offsets_m = [offset_um // 1_000_000 for offset_um in layout_of(design).site_offsets_um]
    is_located = draw(st.booleans())
    spots = {
        index: Spot(offsets_m[index] + draw(st.integers(-2, 2)), draw(st.sampled_from([4, 8])), 12)
        for index in range(1, len(sites) - 1)
        if is_located and draw(st.integers(0, 9)) > 0
    }
    again = closures[: draw(st.sampled_from([0, 0, 0, 0, 1]))]
    shut = [*sealed(sites=closures), *sealed(sites=again, made_at="2025-03-05T10:00:00Z")]
    splices = [make_splice(site=site, fibres=[1]) for site in sites]
    powers = [
        make_attenuation(from_site=ends[0], to_site=ends[1], wavelength_nm=nm, loss_db=1.0)
        for ends in (("A", "B"), ("B", "A"))
        for nm in WAVELENGTHS_NM
    ]
    return design, [*shut, *splices, *powers, *draw(traces(design))], spots


def judged(layout: Layout, bodies: Sequence[Body], spots: Spots) -> tuple[FibreJudgement, Any]:
    """Judge a fibre from its stored records on, and see what its traces show."""
    rules = Rules(layout, criteria_of(CRITERIA))
    records = rules.read(map(stored, bodies))
    return rules.judge(1, records, spots=spots), rules.sight(1, records)


@given(drawn=fibres())
@settings(deadline=None)
def test_a_fibre_is_judged_alike_with_and_without_short_cuts(
    drawn: tuple[Body, list[Body], dict[int, Spot]],
) -> None:
    design, bodies, found = drawn
    layout = layout_of(design)
    spots = located_spots(layout, found)
    fast, sighted = judged(layout, bodies, spots)
    with every_short_cut_declined():
        slow, sighted_slowly = judged(layout, bodies, spots)
    assert fast.content == slow.content
    assert fast.contributions == slow.contributions
    assert fast.counts == slow.counts
    assert sighted == sighted_slowly
