"""Packages of whole routes, judged here from what their crews post: the demo's, and a simulated one of any size."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from service.vocabulary.canonical import digest_of
from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.concession import Concession
from tests.factories import Body, criteria_of, layout_of, stored
from tests.package_factories import make_content, packaged
from tests.simulator.large import simulate_large
from worker.judgement.judge import FibreJudgement, Rules
from worker.judgement.route.pooling import locate_sites
from worker.judgement.route.settle import JudgedFibre, find_spots, settle
from worker.package.data.content import PackageContent

_DEMO = Path(__file__).parents[1] / "openapi_examples" / "demo"
_UNTIL_SUBMITTED = ("01_splicing", "02_re_splices", "03_sealing", "04_otdr", "05_attenuation")


def demo_content() -> PackageContent:
    """Return the package that the demo's route gets first, with the concession that is asked for."""
    records = [record for name in _UNTIL_SUBMITTED for record in _demo(name)["records"]]
    reason = "The closure is under a road that is closed only on Sundays."
    asked = Concession(criterion="splice-1550", fibre=20, site="C5", position=1, reason=reason)
    return content_of_route(_demo("route"), _demo("criteria"), records, concessions=[asked])


def large_content(*, fibres: int, closures: int) -> PackageContent:
    """Return the package of a simulated route."""
    route = simulate_large(fibres=fibres, closures=closures, seed=7)
    return content_of_route(route.design, route.criteria, route.records())


def judge_route(
    design: Body, criteria: Body, records: Iterable[Body], *, fibres: Iterable[int] | None = None
) -> list[FibreJudgement]:
    """Judge some fibres of a route by all that was posted of it, or every one."""
    rules = Rules(layout_of(design), criteria_of(criteria))
    read = rules.read(map(stored, records))
    every = range(1, design["fibre_count"] + 1)
    placing = criteria_of(criteria).placing
    spots = locate_sites(layout_of(design), placing, {fibre: rules.sight(fibre, read) for fibre in every})
    return [rules.judge(fibre, read, spots=spots.of(fibre)) for fibre in fibres or every]


def content_of_route(
    design_body: Any,
    criteria_body: Any,
    records: Iterable[Any],
    *,
    fibres: Iterable[int] | None = None,
    concessions: Sequence[Concession] = (),
) -> PackageContent:
    """Return the package of a route with some of its fibres judged, or every one."""
    design, criteria = Design.model_validate(design_body), criteria_of(criteria_body)
    posted = list(records)
    judged = judge_route(design_body, criteria_body, posted, fibres=fibres)
    design_sha256 = digest_of(design.model_dump(exclude_none=True))
    criteria_sha256 = digest_of(criteria.model_dump(exclude_none=True))
    layout, settled = Layout(design), [JudgedFibre.of(one) for one in judged]
    verdict = settle(
        layout=layout,
        criteria=criteria,
        design_sha256=design_sha256,
        criteria_sha256=criteria_sha256,
        spots=find_spots(layout, criteria, settled),
        fibres=settled,
    )
    return replace(
        make_content(),
        design=design,
        criteria=criteria,
        verdict=verdict.document,
        verdict_digest=verdict.digest,
        fibres=[one.document for one in judged],
        segments=[segment.id for segment in design.segments],
        concessions=list(concessions),
        records=[packaged(record) for record in posted],
        design_sha256=design_sha256,
        criteria_sha256=criteria_sha256,
    )


def _demo(name: str) -> Any:
    return json.loads((_DEMO / f"{name}.json").read_bytes())
