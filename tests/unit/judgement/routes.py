"""Whole routes of few sites, judged and settled, for what needs several fibres."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import orjson

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.findings.suspicion import SuspicionDocument
from tests.factories import Body, criteria_of, layout_of, stored
from worker.judgement.documents.route import read_contributions, write_contributions
from worker.judgement.fibre.contributions import Contributions
from worker.judgement.history.evidence import Evidence
from worker.judgement.judge import FibreJudgement, Rules
from worker.judgement.route.settle import JudgedFibre, Verdict, settle


def judge_fibres(
    bodies: Mapping[int, Sequence[Body | Evidence]], *, design: Body, criteria: Body
) -> list[FibreJudgement]:
    """Judge each fibre by its own bodies; those with flags of their own come as evidence."""
    rules = Rules(layout_of(design), criteria_of(criteria))
    return [
        rules.judge(fibre, rules.read(body if isinstance(body, Evidence) else stored(body) for body in own))
        for fibre, own in bodies.items()
    ]


def settle_route(judged: Sequence[FibreJudgement], *, design: Body, criteria: Body) -> Verdict:
    """Settle fibres by what is stored of them: what they contribute goes through JSON."""
    return settle(
        layout=layout_of(design),
        criteria=criteria_of(criteria),
        design_sha256="d" * 64,
        criteria_sha256="c" * 64,
        fibres=[replace(JudgedFibre.of(one), contributions=_stored(one.contributions)) for one in judged],
    )


def _stored(contributions: Contributions | None) -> Contributions | None:
    if contributions is None:
        return None
    return read_contributions(orjson.loads(orjson.dumps(write_contributions(contributions))))


def verdict_of(bodies: Mapping[int, Sequence[Body | Evidence]], *, design: Body, criteria: Body) -> Verdict:
    """Judge and settle fibres."""
    return settle_route(judge_fibres(bodies, design=design, criteria=criteria), design=design, criteria=criteria)


def only_finding(verdict: Verdict) -> FindingDocument:
    """Return the one finding about several fibres."""
    [finding] = verdict.document["findings"]
    return finding


def suspicions_in(verdict: Verdict, kind: str) -> list[SuspicionDocument]:
    """Return the suspicions of a kind."""
    return [one for one in verdict.document["suspicions"] if one["kind"] == kind]
