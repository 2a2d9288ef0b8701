"""Every kind of record has words for what it is about, and its instrument and result are shown."""

from dataclasses import replace

import pytest

from service.vocabulary.records.words import RecordKind
from tests.factories import (
    Body,
    make_attenuation,
    make_cable_laying,
    make_calibration,
    make_cleaning,
    make_closure_state,
    make_continuity,
    make_dispersion,
    make_end_face,
    make_otdr,
    make_return_loss,
    make_splice,
    make_termination,
)
from tests.package_factories import packaged, with_findings
from tests.package_reading import rows_of
from tests.unit.package.judged import judged_content
from worker.package.data.content import PackageContent

ENDED, INSTRUMENTS = "Replaced, withdrawn and doubted records", "Instruments and calibrations"
SET_ASIDE = "Tests set aside and tests repeated"
SUBJECTS: list[tuple[Body, str, str]] = [
    (make_cable_laying(), "cable laying", "S1"),
    (make_splice(fibres=[3, 4]), "splice", "C1, fibre 3, 4"),
    (make_closure_state(state="opened"), "closure state", "C1, opened"),
    (
        make_closure_state(
            state="opened",
            opened_for=[
                {"section": "S1", "first": 5, "last": 5},
                {"section": "S2", "first": 1, "last": 4},
                {"tray": 2},
            ],
        ),
        "closure state",
        "C1, opened for S1 fibre 5, S2 fibre 1 to 4, tray 2",
    ),
    (make_calibration(), "arc calibration", "splicer SPL-1"),
    (make_calibration(site="C2"), "arc calibration", "splicer SPL-1 at C2"),
    (make_termination(fibre=5), "termination", "A, fibre 5"),
    (make_cleaning(fibre=5, side="towards_a", position=2), "cleaning", "A, position 2, towards a, fibre 5"),
    (make_end_face(site="B", fibre=5), "end face", "B, towards b, fibre 5"),
    (make_continuity(fibre=5, seen=6), "continuity", "A to B, fibre 5"),
    (make_otdr(from_site="B", to_site="A"), "otdr", "B to A, fibre 1"),
    (make_attenuation(), "attenuation", "A to B, fibre 1"),
    (make_return_loss(), "return loss", "A to B, fibre 1"),
    (make_dispersion(), "dispersion", "A to B, fibre 1"),
]


@pytest.mark.parametrize(("body", "kind", "subject"), SUBJECTS, ids=lambda one: one if isinstance(one, str) else "")
def test_a_withdrawn_record_of_any_kind_says_what_it_was_about(body: Body, kind: str, subject: str) -> None:
    [row] = rows_of(_with([body], is_ended=True), ENDED)
    assert row[1:3] == (kind, subject)


def test_every_kind_of_record_was_tried() -> None:
    assert {body["kind"] for body, _, _ in SUBJECTS} == set(RecordKind)


def test_instruments_of_every_kind_of_test_show_until_when_they_were_calibrated() -> None:
    content = _with([make_return_loss(), make_dispersion(), make_otdr(), make_attenuation(), make_splice()])
    assert {row[:3] for row in rows_of(content, INSTRUMENTS)} == {
        ("return loss meter", "RL-1", "2025-12-31"),
        ("dispersion meter", "DS-1", "2025-12-31"),
        ("OTDR", "OTDR-1", "2025-12-31"),
        ("source", "LS-1", "2025-12-31"),
        ("meter", "PM-1", "2025-12-31"),
        ("splicer", "SPL-1", "–"),  # noqa: RUF001
    }


def test_an_arc_calibration_shows_its_outcome_and_the_air_it_was_done_in() -> None:
    air = {"temperature_c": -4.5, "humidity_percent": 71.0, "pressure_hpa": 998.0, "altitude_m": 1250.0}
    [row] = rows_of(_with([make_calibration(site="C1", passed=False, **air)]), INSTRUMENTS)
    made = "2025-03-03 07:00:00"
    assert row == ("SPL-1", made, "G.652.D", "C1", "not passed", "-4.5", "71.0", "998.0", "1250.0")


def test_a_withdrawn_arc_calibration_is_none() -> None:
    assert rows_of(_with([make_calibration()], is_ended=True), INSTRUMENTS) == []


@pytest.mark.parametrize(
    ("first", "second", "test", "result"),
    [
        (make_return_loss(qualifier="gt"), make_return_loss(return_loss_db=39.0), "return loss 1550 nm", "> 40.000 dB"),
        (make_dispersion(), make_dispersion(pmd_ps=0.2), "dispersion 1550 nm", "52.00 ps/nm, 0.100 ps"),
        (make_continuity(seen=None), make_continuity(), "continuity", "all dark"),
        (make_continuity(seen=2), make_continuity(), "continuity", "fibre 2 seen"),
        (make_end_face(polish="pc"), make_end_face(), "end face", "–"),  # noqa: RUF001
    ],
)
def test_a_test_of_any_kind_made_twice_is_listed_with_its_result(
    first: Body, second: Body, test: str, result: str
) -> None:
    rows = rows_of(_with([first, second]), SET_ASIDE)
    assert len(rows) == 2
    assert result in {row[4] for row in rows}
    assert {row[1] for row in rows} == {test}


def test_both_sides_of_one_connection_are_no_repetition() -> None:
    assert rows_of(_with([make_end_face(side="towards_a"), make_end_face(side="towards_b")]), SET_ASIDE) == []


def _with(bodies: list[Body], *, is_ended: bool = False) -> PackageContent:
    content = with_findings(judged_content(), lambda _: None)
    return replace(content, records=[packaged(body, is_ended=is_ended) for body in bodies])
