"""Chromatic dispersion, and that of polarization modes."""

from collections.abc import Sequence
from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, make_criteria, make_dispersion, make_splice, sealed, stored
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.history.evidence import Evidence

BACK: Body = {"from_site": "B", "to_site": "A"}
LATER = "2025-03-25T08:00:00Z"
CRITERIA = make_criteria(
    criteria=[
        {"code": "CD", "quantity": "chromatic_dispersion", "wavelength_nm": 1550, "limit_ps_per_nm": 60.0},
        {"code": "PMD", "quantity": "polarization_mode_dispersion", "wavelength_nm": 1550, "limit_ps": 0.5},
    ]
)


def dispersion(code: str, bodies: Sequence[Body | Evidence]) -> FindingDocument:
    """Return the finding of one of the two criteria."""
    return finding_of(judge([*sealed(), *bodies], criteria=CRITERIA), code)


@pytest.mark.parametrize("ends", [{}, BACK])
@pytest.mark.parametrize(
    ("chromatic", "value", "outcome"),
    [
        (60.0, "60.00", "conforming"),
        (60.01, "60.01", "nonconforming"),
        (-60.0, "60.00", "conforming"),
        (-60.01, "60.01", "nonconforming"),
    ],
)
def test_chromatic_dispersion_is_held_whatever_its_sign(ends: Any, chromatic: float, value: str, outcome: str) -> None:
    finding = dispersion("CD", [make_dispersion(chromatic_ps_per_nm=chromatic, **ends)])
    assert (finding["value"], finding["unit"], finding["outcome"]) == (value, "ps/nm", outcome)
    assert [reading["value"] for reading in finding["readings"]] == [f"{chromatic:.2f}"]


@pytest.mark.parametrize(("pmd_ps", "outcome"), [(0.5, "conforming"), (0.501, "nonconforming"), (0.0, "conforming")])
def test_polarization_mode_dispersion_is_held_in_picoseconds(pmd_ps: float, outcome: str) -> None:
    finding = dispersion("PMD", [make_dispersion(pmd_ps=pmd_ps)])
    assert (finding["value"], finding["unit"], finding["outcome"]) == (f"{pmd_ps:.3f}", "ps", outcome)
    assert finding["limit"] == "0.500"


def test_what_is_not_measured_is_not_zero() -> None:
    for code in ("CD", "PMD"):
        finding = dispersion(code, [])
        assert (finding["outcome"], finding["reason"]) == ("undetermined", "no_evidence")
        assert "value" not in finding
    assert dispersion("PMD", [make_dispersion(wavelength_nm=1310)])["reason"] == "no_evidence"


def test_a_record_of_one_quantity_hides_none_of_the_other() -> None:
    both, later = make_dispersion(pmd_ps=0.4), make_dispersion(pmd_ps=None, made_at=LATER)
    assert dispersion("PMD", [both, later])["value"] == "0.400"
    assert dispersion("CD", [make_dispersion(chromatic_ps_per_nm=None)])["reason"] == "no_evidence"


@pytest.mark.parametrize(("first", "second"), [({}, BACK), (BACK, {}), ({}, {})])
def test_the_latest_of_both_directions_counts(first: Any, second: Any) -> None:
    bodies = [make_dispersion(pmd_ps=0.9, **first), make_dispersion(pmd_ps=0.1, made_at=LATER, **second)]
    for order in (bodies, bodies[::-1]):
        assert dispersion("PMD", order)["value"] == "0.100"


@pytest.mark.parametrize(("other_ps", "reason"), [(0.9, "order_not_proven"), (0.2, None)])
def test_a_wrong_clock_matters_where_it_would_decide(other_ps: float, reason: str | None) -> None:
    wrong = stored(make_dispersion(pmd_ps=other_ps, made_at=LATER, device="meter-app-9", **BACK), clock_is_flagged=True)
    lids_of_its_own = [stored(lid) for lid in sealed()]
    criteria = {**CRITERIA, "final_after_sealing": False}
    judged = judge([*lids_of_its_own, make_dispersion(), wrong], criteria=criteria)
    assert finding_of(judged, "PMD").get("reason") == reason


@pytest.mark.parametrize(
    ("bodies", "reason"),
    [
        ([stored(make_dispersion(), is_ended=True)], "no_evidence"),
        ([make_dispersion(), make_splice(site="C1", made_at=LATER)], "before_rework"),
        ([make_dispersion(instrument={"serial": "DS-1", "calibrated_until": "2025-03-19"})], "calibration_run_out"),
    ],
)
def test_what_is_void_does_not_count(bodies: list[Any], reason: str) -> None:
    finding = dispersion("CD", bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", reason)
    assert finding["void"]
