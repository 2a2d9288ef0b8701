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
from worker.judgement.route.pooling import locate_sites
from worker.judgement.route.settle import JudgedFibre, Verdict, find_spots, settle


def judge_fibres(
    bodies: Mapping[int, Sequence[Body | Evidence]], *, design: Body, criteria: Body
) -> list[FibreJudgement]:
    """Judge each fibre by its own bodies, its joints where all show them; what has flags of its own is evidence."""
    layout, agreed = layout_of(design), criteria_of(criteria)
    rules = Rules(layout, agreed)
    read = {
        fibre: rules.read(body if isinstance(body, Evidence) else stored(body) for body in own)
        for fibre, own in bodies.items()
    }
    spots = locate_sites(layout, agreed.placing, {fibre: rules.sight(fibre, own) for fibre, own in read.items()})
    return [rules.judge(fibre, own, spots=spots.of(fibre)) for fibre, own in read.items()]


def settle_route(judged: Sequence[FibreJudgement], *, design: Body, criteria: Body) -> Verdict:
    """Settle fibres by what is stored of them: what they contribute goes through JSON."""
    layout, agreed = layout_of(design), criteria_of(criteria)
    fibres = [replace(JudgedFibre.of(one), contributions=_stored(one.contributions)) for one in judged]
    return settle(
        layout=layout,
        criteria=agreed,
        design_sha256="d" * 64,
        criteria_sha256="c" * 64,
        spots=find_spots(layout, agreed, fibres),
        fibres=fibres,
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
