"""What the values of judging are written as, and read back from."""

import orjson

from service.vocabulary.criteria.words import Unit
from service.vocabulary.findings.finding import Direction, RecordReading, VoidRecord
from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.findings.words import Outcome, Reason
from tests.factories import criteria_of
from worker.judgement.documents.fibre import write_findings
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
            RecordReading("r1", Direction.A_TO_B, value=-5, distance_um=1_234_050_000),
            RecordReading("r2", Direction.B_TO_A, within=20),
            RecordReading("r3", value=12345, places=4),
        ),
        void=(VoidRecord("r4", Reason.BEFORE_SEALING),),
    )
    criterion = criteria_of().criteria[0]
    [document] = write_findings([Finding(criterion, judged, ("SEG1",), 7, "C1", 1)])
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
