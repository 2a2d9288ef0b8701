"""The largest routes that can be described, judged from scratch as a submission is: every fibre, all together."""

from collections import Counter

import pytest

from service.storage.records import StoredEvidence
from service.vocabulary.canonical import canonical_json, sha256_hex
from service.vocabulary.findings.finding import FibreDocument
from service.vocabulary.records.record import RECORD, canonical_record, fibres_of
from tests.factories import Body, criteria_of, layout_of
from tests.simulator.large import simulate_large
from worker.jobs.judging import PreparedRules
from worker.jobs.submission_snapshot import judge_from_scratch
from worker.judgement.route.settle import Verdict

pytestmark = pytest.mark.slow


def as_stored(record: Body) -> StoredEvidence:
    """Return a posted record as it is read for judging."""
    value = RECORD.validate_python(record)
    body = canonical_json(canonical_record(value))
    fibres = sorted(fibres_of(value)) or [0]
    return StoredEvidence(fibres, body.decode(), False, False, sha256_hex(body))


def judge_large(*, fibres: int, closures: int) -> tuple[list[FibreDocument], Verdict]:
    """Judge a simulated route of honest work by its records alone, its closures 100 to 140 m apart."""
    route = simulate_large(fibres=fibres, closures=closures, seed=11, cable_m=(100, 140))
    by = PreparedRules(
        layout=layout_of(route.design), criteria=criteria_of(route.criteria), design_sha256="", criteria_sha256=""
    )
    return judge_from_scratch(by, [as_stored(record) for record in route.records()], come_forward=lambda: None)


@pytest.mark.parametrize(("fibres", "closures"), [(1, 1), (1728, 2), (12, 400)])
def test_the_smallest_and_the_largest_routes_are_judged_to_the_last_fibre(fibres: int, closures: int) -> None:
    documents, verdict = judge_large(fibres=fibres, closures=closures)
    assert [one["fibre"] for one in documents] == list(range(1, fibres + 1))
    assert not any("problem" in one for one in documents)
    outcomes = Counter(finding["outcome"] for one in documents for finding in one["findings"])
    splices = Counter(
        finding["outcome"] for one in documents for finding in one["findings"] if finding["quantity"] == "splice_loss"
    )
    # Two wavelengths; each closure's splice and, behind each terminal's connector, another.
    assert splices.total() % (fibres * (closures + 2)) == 0
    # Honest work of a good crew: nearly all of it conforms, and nothing is left open for want of room.
    assert outcomes["conforming"] > 0.98 * outcomes.total()
    assert len(verdict.document["fibres"]) == fibres
