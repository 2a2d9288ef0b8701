"""The parts of the judge step that need no database."""

from typing import Any

import orjson
import pytest

from service.storage.records import StoredEvidence
from service.storage.tables import WHOLE_SITE
from service.storage.verdicts import FibreVersions
from service.vocabulary.canonical import canonical_json
from service.vocabulary.findings.words import Outcome
from service.vocabulary.records.record import RECORD, canonical_record
from tests.factories import criteria_of, finished_fibre, layout_of, make_closure_state, make_criteria, make_splice
from worker.jobs.judging import EvidenceByFibre, PreparedRules, Waiting, judge_fibres
from worker.judgement.traces.spots import RouteSpots


def test_a_fibre_gets_its_own_records_and_those_about_whole_sites() -> None:
    own, other, lid = make_splice(fibres=[1]), make_splice(fibres=[2]), make_closure_state()
    evidence = EvidenceByFibre([_stored(own, 1), _stored(other, 2), _stored(lid, WHOLE_SITE)], by=_rules())
    assert {one.stamp.id for one in evidence.of(1)} == {own["id"], lid["id"]}
    assert {one.stamp.id for one in evidence.of(3)} == {lid["id"]}


def test_a_ribbon_is_one_record_however_many_fibres_it_is_about() -> None:
    ribbon = make_splice(fibres=[1, 2, 3])
    evidence = EvidenceByFibre([_stored(ribbon, 1, 2, 3)], by=_rules())
    [[first], [second]] = evidence.of(1), evidence.of(2)
    assert first is second


def test_where_rework_voids_a_closure_every_fibre_sees_every_record() -> None:
    stored = [_stored(make_splice(fibres=[1]), 1), _stored(make_splice(fibres=[2]), 2)]
    evidence = EvidenceByFibre(stored, by=_rules(make_criteria(rework_voids="closure")))
    assert len(evidence.of(1)) == len(evidence.of(7)) == 2


@pytest.mark.parametrize("is_backwards", [False, True])
def test_a_finished_fibre_conforms_in_whatever_order_its_records_are_read(is_backwards: bool) -> None:
    stored = [_stored(one, WHOLE_SITE if "state" in one else 1) for one in finished_fibre()]
    waiting = Waiting(
        fibres=[FibreVersions(number=1, evidence_version=7)],
        evidence=stored[::-1] if is_backwards else stored,
        by=(by := _rules()),
        spots=RouteSpots.as_designed(by.layout),
    )
    [(versions, judgement)] = judge_fibres(waiting, come_forward=lambda: None)
    assert versions.evidence_version == 7
    assert {one["outcome"] for one in judgement.document["findings"]} == {Outcome.CONFORMING}


def test_a_run_whose_time_is_over_leaves_the_other_fibres_to_the_next() -> None:
    by = _rules()
    fibres = [FibreVersions(number=number, evidence_version=7) for number in (1, 2, 3)]
    waiting = Waiting(fibres=fibres, evidence=[], by=by, spots=RouteSpots.as_designed(by.layout))
    [(first, _)] = judge_fibres(waiting, come_forward=lambda: None, for_s=0)
    assert first is fibres[0]
    assert [one for one, _ in judge_fibres(waiting, come_forward=lambda: None)] == fibres


def _rules(criteria: dict[str, Any] | None = None) -> PreparedRules:
    return PreparedRules(layout=layout_of(), criteria=criteria_of(criteria), design_sha256="", criteria_sha256="")


def _stored(record: dict[str, object], *fibres: int) -> StoredEvidence:
    body = canonical_json(canonical_record(RECORD.validate_json(orjson.dumps(record)))).decode()
    return StoredEvidence(fibres=fibres, body=body, clock_is_flagged=False, is_ended=False, sha256="")
