"""Source and meter against the traces of the same fibre: where both cannot be right the link proves nothing."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    cord_ended,
    link_criterion,
    make_attenuation,
    make_design,
    make_otdr,
    make_sections,
    only,
    sealed,
    spliced,
    with_events,
)
from tests.unit.judgement.judging import because, finding_by, judge, only_item

ENDS = (("A", "B", 500.0), ("B", "A", 300.0))
WIDE: Body = {"kind": "fixed", "limit_db": 60.0}


def with_total(loss_db: float, *, design: Body | None = None, length_m: float = 3000.0, **changes: Any) -> list[Body]:
    """Return both traces with a total from the launch cord's end to the receive cord's start."""
    design = design or cord_ended()
    total = {"loss_db": loss_db, "to_m": 0.0, **changes.pop("total", {})}
    return [
        make_otdr(
            from_site=near,
            to_site=far,
            design=design,
            total_loss={"from_m": launch_m, **total, "to_m": total["to_m"] or launch_m + length_m},
            **changes,
        )
        for near, far, launch_m in ENDS
    ]


def powers(*losses_db: float, **changes: Any) -> list[Body]:
    return [
        make_attenuation(from_site=near, to_site=far, loss_db=loss_db, **changes)
        for (near, far, _), loss_db in zip(ENDS, losses_db, strict=True)
    ]


def link(bodies: list[Body], *, design: Body | None = None, **changes: Any) -> FindingDocument:
    criterion = link_criterion(limit=WIDE, **{"uncertainty_db": 0.2, "least_attenuation_db_per_km": 0.0, **changes})
    return finding_by(criterion, [*sealed(), *bodies], design=design or cord_ended())


def is_contradicted(finding: FindingDocument) -> bool:
    """Tell whether a link is undetermined because of its traces; else it conforms."""
    contradicted = finding.get("reason") == "whole_unlike_parts"
    assert finding["outcome"] == ("undetermined" if contradicted else "conforming")
    return contradicted


@pytest.mark.parametrize(
    ("losses_db", "expected"),
    # Common practice, no source: 0.2 dB by source and meter; by OTDR 0.1 dB and 0.03 dB for each of 1.000 dB. The root
    # of 0.2 and 0.13 squared is 0.23854 dB (JCGM 100:2008, 5.1.2, equation 10).
    [
        ((1.0, 1.0), False),
        ((1.238, 1.239), False),
        ((1.239, 1.239), True),
        ((0.762, 0.761), False),
        ((0.761, 0.761), True),
        ((1.4, 1.0), False),
    ],
)
def test_a_whole_that_is_not_its_parts_by_both_uncertainties_proves_nothing(
    losses_db: tuple[float, float], expected: bool
) -> None:
    assert is_contradicted(link([*with_total(1.0), *powers(*losses_db)])) is expected


def test_the_uncertainties_are_agreed() -> None:
    bodies = [*with_total(1.0), *powers(1.3, 1.3)]
    assert is_contradicted(link(bodies))
    assert not is_contradicted(link(bodies, uncertainty_db=0.3))
    criteria = only(link_criterion(limit=WIDE, uncertainty_db=0.0), consistency={"span_db": 0.3, "span_percent": 0.0})
    [finding] = judge([*sealed(), *bodies], design=cord_ended(), criteria=criteria).document["findings"]
    assert finding["outcome"] == "conforming"


@pytest.mark.parametrize(
    ("cords", "losses_db", "expected"),
    # The traces read 0.3 dB at each end: two cords leave out one end, three cords both, each at most that. By OTDR
    # 0.1 dB and 0.03 dB for each of 2.000 dB, with source and meter the root of 0.0656 in all, 0.25612 dB.
    [
        (2, (2.256, 2.256), False),
        (2, (2.257, 2.256), True),
        (2, (1.444, 1.444), False),
        (2, (1.444, 1.443), True),
        (3, (2.257, 2.256), True),
        (3, (1.144, 1.144), False),
        (3, (1.144, 1.143), True),
    ],
)
def test_what_a_reference_leaves_out_is_no_contradiction(
    cords: int, losses_db: tuple[float, float], expected: bool
) -> None:
    found = link([*with_total(2.0), *powers(*losses_db, reference_cords=cords)])
    assert is_contradicted(found) is expected
    left_out_db = {2: "0.300", 3: "0.600"}[cords]
    assert (f"of which the reference leaves out {left_out_db} dB at most" in found["detail"]) is expected


def test_without_both_ends_losses_it_is_not_known_what_a_reference_leaves_out() -> None:
    def without_loss(event: Body) -> Body:
        return {name: value for name, value in event.items() if name != "loss_db"}

    unread = [with_events(trace, without_loss) for trace in with_total(1.0)]
    assert not is_contradicted(link([*unread, *powers(2.0, 2.0, reference_cords=2)]))


def test_both_are_said_with_their_records() -> None:
    bodies = [*with_total(1.0), *powers(1.8, 1.801)]
    found = link(bodies)
    assert found["detail"] == (
        "mean of 1.800 dB (A to B) and 1.801 dB (B to A), and the traces lose 1.000 dB over both end connections"
    )
    assert sorted(reading["record"] for reading in found["readings"]) == sorted(body["id"] for body in bodies)


@pytest.mark.parametrize(
    "bodies",
    [
        [*with_total(1.0, total={"from_m": 0.0}), *powers(2.0, 2.0)],
        [*with_total(1.0, total={"from_m": 485.0, "to_m": 3485.0}), *powers(2.0, 2.0)],
        [*with_total(1.0, total={"to_m": 3000.0}), *powers(2.0, 2.0)],
        [*with_total(1.0)[:1], *powers(2.0, 2.0)],
    ],
    ids=["from the port", "from within the cord", "to before the end", "one trace"],
)
def test_only_what_has_one_datum_is_compared(bodies: list[Body]) -> None:
    assert is_contradicted(link([*with_total(1.0), *powers(2.0, 2.0)]))
    assert not is_contradicted(link(bodies))


LONG = make_design(sections=make_sections([10_000.0] * 4), closures=3)


def long_traces(**changes: Any) -> list[Body]:
    """Return both traces of 40 km at 1310 nm: 13.2 dB of glass, 0.6 dB at the ends, 0.12 dB in closures."""
    return [
        with_events(trace, lambda event: {**event, "attenuation_db_per_km": 0.33})
        for trace in with_total(13.92, design=LONG, length_m=40_000.0, wavelength_nm=1310, **changes)
    ]


@pytest.mark.parametrize(
    ("actual_nm", "off_db", "expected"),
    # Four times 20/1310 of 13.2 dB is 0.8061 dB (from the inverse fourth power of the wavelength), and the root of
    # 0.2 and 0.1 + 0.03 * 13.92 squared is 0.5549 dB.
    [
        (None, 0.554, False),
        (None, 0.556, True),
        (1330.0, 0.806 + 0.554, False),
        (1330.0, 0.807 + 0.556, True),
        (1290.0, -0.806 - 0.554, False),
        (1290.0, -0.807 - 0.556, True),
    ],
)
def test_a_source_of_another_wavelength_explains_what_the_fibre_loses_otherwise_there(
    actual_nm: float | None, off_db: float, expected: bool
) -> None:
    loss_db = round(13.92 + off_db, 3)
    bodies = [
        *sealed(sites=["C3"]),
        *long_traces(),
        *powers(loss_db, loss_db, wavelength_nm=1310, actual_wavelength_nm=actual_nm),
    ]
    found = link(bodies, design=LONG, wavelength_nm=1310)
    assert is_contradicted(found) is expected
    assert ("the wavelengths explain" in found["detail"]) is (expected and actual_nm is not None)


def test_instruments_and_source_of_one_wavelength_explain_nothing() -> None:
    bodies = [
        *sealed(sites=["C3"]),
        *long_traces(actual_wavelength_nm=1330.0),
        *powers(14.9, 14.9, wavelength_nm=1310, actual_wavelength_nm=1330.0),
    ]
    assert is_contradicted(link(bodies, design=LONG, wavelength_nm=1310))


@pytest.mark.parametrize(("loss_db", "expected"), [(14.47, False), (14.48, True)])
def test_without_totals_all_the_parts_together_are_the_traces(loss_db: float, expected: bool) -> None:
    traces = [{name: value for name, value in trace.items() if name != "total_loss"} for trace in long_traces()]
    bodies = [*sealed(sites=["C3"]), *traces, *powers(loss_db, loss_db, wavelength_nm=1310)]
    assert is_contradicted(link(bodies, design=LONG, wavelength_nm=1310)) is expected


def test_with_a_part_that_is_not_stated_nothing_is_compared() -> None:
    traces = [{name: value for name, value in trace.items() if name != "total_loss"} for trace in long_traces()]
    bodies = [*sealed(sites=["C3"]), *traces[1:], *powers(20.0, 20.0, wavelength_nm=1310)]
    without = with_events(traces[0], lambda event: {**event, "attenuation_db_per_km": None})
    assert not is_contradicted(link([*bodies, without], design=LONG, wavelength_nm=1310))


def test_it_is_to_be_referenced_and_measured_again() -> None:
    criteria = only(link_criterion(limit=WIDE))
    bodies = [*spliced(), *sealed(), *with_total(1.0), *powers(2.0, 2.0)]
    item = only_item(judge(bodies, design=cord_ended(), criteria=criteria))
    assert item["act"] == "retest"
    assert "take the reference again, measure again" in because(item)
    # Nobody knows which of both is wrong, so both are asked for.
    asked = {(test["test"], *test["from_sites"]) for test in item["tests"]}
    assert asked == {("attenuation", "A", "B"), ("otdr", "A", "B")}
