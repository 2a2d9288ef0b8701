"""What the values of judging are written as, and read back from."""

from typing import Any

import orjson
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.words import DecisionRule, Unit
from service.vocabulary.findings.finding import Direction, RecordReading, VoidRecord
from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.records.words import Side
from tests.factories import criteria_of
from worker.judgement.documents.findings import finding_texts, write_finding
from worker.judgement.documents.route import read_contributions, read_counts, write_contributions, write_counts
from worker.judgement.fibre.contributions import Contributions, EstimateSums, LinkOutline, PartialSums
from worker.judgement.fibre.findings import Counts, Finding, Judgement
from worker.judgement.fibre.glass import GlassLosses
from worker.judgement.history.acts import TraceOutline
from worker.judgement.numbers.limits import Limit
from worker.judgement.traces.sightings import SpanSightings

# What a fibre's row holds.
STORED = {
    "parts": [["MEAN", "SEG1", [None], [[3], [1], [100], [120], [2], [2]]]],
    "traces": [["r1", True, 1550, "e1", "l1", 2, 1, "OTDR-1", "", 5, 7, None, "KwA="]],
    "links": [["r2", False, 1310, 980]],
    "estimates": [["FS-1", "c1", 2, -30, 900]],
    "seen": [{"kind": "same_trace", "fibres": [4], "records": ["r1", "r2"], "detail": "so", "chance": "small"}],
    "is_dark": False,
    "glass": [[1550, [2010, None, 1990], 4020, -30]],
    "sightings": [[0, 3, 30, [100_010, 200_030], [5, None]]],
}


LIMITS = [
    Limit(100_000_000_000, unit=Unit.DB),
    Limit(100_000_000_000, unit=Unit.DB, is_minimum=True),
    Limit(100_000_000_000, unit=Unit.DB, rule=DecisionRule.GUARDED, band=5_000_000_000),
    Limit(35_000_000_000_000, unit=Unit.DB, places=3),
]
READINGS = [
    RecordReading("r1", Direction.A_TO_B, value=-5, distance_m="1234.05"),
    RecordReading("r1", Direction.B_TO_A, within=20),
    RecordReading("r1", value=70),
    RecordReading("r1", Direction.A_TO_B, 1310, 12, places=2),
]
SUBJECTS: list[dict[str, Any]] = [
    {"site": "C1", "position": 1},
    {"site": "C1", "position": 2, "side": Side.TOWARDS_A},
    {"from_site": "A", "to_site": "B"},
    {"section": "A-C1"},
]


def test_contributions_are_read_as_they_were_written() -> None:
    expected = Contributions(
        sums=(PartialSums("MEAN", "SEG1", (None,), ((3,), (1,), (100,), (120,), (2,), (2,))),),
        traces=(TraceOutline("r1", True, 1550, "e1", "l1", 2, 1, "OTDR-1", "", 5, 7, None, "KwA="),),
        links=(LinkOutline("r2", False, 1310, 980),),
        estimates=(EstimateSums("FS-1", "c1", 2, -30, 900),),
        suspicions=(Suspicion(SuspicionKind.SAME_TRACE, (4,), ("r1", "r2"), "so", "small"),),
        glass=(GlassLosses(1550, (2010, None, 1990), 4020, -30),),
        sightings=(SpanSightings(0, 3, 30, (100_010, 200_030), (5, None)),),
    )
    found = read_contributions(STORED)  # type: ignore[arg-type]
    assert found == expected
    assert orjson.loads(orjson.dumps(write_contributions(found))) == STORED


def test_counts_are_read_as_they_were_written() -> None:
    counts = {"SEG1": Counts(conforming=3, nonconforming=1, undetermined=2)}
    assert write_counts(counts) == {"SEG1": {"conforming": 3, "nonconforming": 1, "undetermined": 2}}
    assert read_counts(write_counts(counts)) == counts


def test_integers_are_written_with_their_places_and_nothing_that_is_not_there() -> None:
    judged = Judgement(
        Outcome.UNDETERMINED,
        Reason.BOUND_TOO_WIDE,
        "why",
        bounds=(-50_000_000, 120_000_000_000),
        limit=Limit(100_000_000_000, unit=Unit.DB),
        readings=(
            RecordReading("r1", Direction.A_TO_B, value=-5, distance_m="1234.05"),
            RecordReading("r2", Direction.B_TO_A, within=20),
            RecordReading("r3", value=12345, places=4),
        ),
        void=(VoidRecord("r4", Reason.BEFORE_SEALING),),
    )
    criterion = criteria_of().criteria[0]
    document = write_finding(Finding(criterion, judged, ("SEG1",), 7, "C1", 1))
    assert document == {
        "criterion": "SPLICE-1550",
        "quantity": "splice_loss",
        "force": "required",
        "wavelength_nm": 1550,
        "segments": ["SEG1"],
        "fibre": 7,
        "site": "C1",
        "position": 1,
        "outcome": "undetermined",
        "reason": "bound_too_wide",
        "detail": "why",
        "unit": "dB",
        "limit": "0.1000",
        "low": "0.0000",
        "high": "0.1200",
        "margin": "-0.0200",
        "readings": [
            {"record": "r1", "direction": "a_to_b", "value": "-0.005", "distance_m": "1234.05"},
            {"record": "r2", "direction": "b_to_a", "within": "0.020"},
            {"record": "r3", "value": "1.2345"},
        ],
        "void": [{"record": "r4", "reason": "before_sealing"}],
    }


@given(
    outcome=st.sampled_from(Outcome),
    limit=st.none() | st.sampled_from(LIMITS),
    bounds=st.none() | st.sampled_from([(80_000_000_000, 80_000_000_000), (-10_000_000_000, 90_000_000_000)]),
    readings=st.lists(st.sampled_from(READINGS), max_size=3),
    subject=st.sampled_from(SUBJECTS),
    said=st.sampled_from(["mean of 0.080 dB", 'at "C1", \u00e9 %s']),
    void=st.sampled_from([(), (VoidRecord("r2", Reason.BEFORE_REWORK),)]),
    by_fallback=st.booleans(),
    criterion=st.sampled_from(criteria_of().criteria),
)
def test_a_finding_from_a_template_is_what_it_is_written_as(
    outcome: Outcome,
    limit: Limit | None,
    bounds: tuple[int, int] | None,
    readings: list[RecordReading],
    subject: dict[str, Any],
    said: str,
    void: tuple[VoidRecord, ...],
    by_fallback: bool,
    criterion: Criterion,
) -> None:
    judged = Judgement(outcome, None, said, bounds, limit, tuple(readings), void, None, by_fallback)
    finding = Finding(criterion, judged, ("SEG1", "SEG2"), 7, **subject)
    assert finding_texts([finding, finding]).encode() == canonical_json([write_finding(finding)] * 2)
