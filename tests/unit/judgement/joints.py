"""What the tests of joint criteria share: traces that differ at one joint, and what one criterion says of it."""

from collections.abc import Iterable
from typing import Any

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, both_ways, sealed, splice_criterion
from tests.unit.judgement.judging import finding_by
from worker.judgement.history.evidence import Evidence


def traces(
    forward_db: float | None,
    backward_db: float | None,
    *,
    site: str = "C1",
    design: Body | None = None,
    **changes: Any,
) -> list[Body]:
    """Return both directions with what they read at one site, tested after both closures were sealed."""
    there, _ = both_ways(design=design, losses_db={site: forward_db}, **changes)
    _, back = both_ways(design=design, losses_db={site: backward_db}, **changes)
    return [*sealed(), there, back]


def at_c1(bodies: Iterable[Body | Evidence], *, design: Body | None = None, **criterion: object) -> FindingDocument:
    """Return what one splice criterion, changed so, says of the splice in closure C1."""
    return finding_by(splice_criterion(**criterion), bodies, site="C1", design=design)
