"""Sections that a criterion names and where traces show nothing on no joint: proven to be clean, or not shown."""

from collections.abc import Callable, Container, Iterator, Sequence
from typing import Any

from service.vocabulary.criteria.words import LinkStretch
from service.vocabulary.design.layout import Span
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import DirectionTest, stretches_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import mean_tenth_mdb
from worker.judgement.rules.base import Rule
from worker.judgement.traces.noise import TraceNoise


def clean_sections(
    rule: Rule[Any], fibre: FibreMeasured, shown: Container[str | None], judge: Callable[[Span, str], Judgement]
) -> Iterator[Finding]:
    """Give one finding for each section of a criterion's that is not `shown` otherwise, by what runs over it."""
    stretches, own = stretches_of(fibre, LinkStretch.JOINED), fibre.layout.design.sections
    for section in sorted(rule.scope.cable):
        over = next((span for span in stretches if span.first <= section < span.last), None)
        if over is not None and own[section].id not in shown:
            finding = rule.section_finding(fibre, section, judge(over, own[section].id))
            if finding.segments:
                yield finding


def most_hidden_tenth_mdb(fibre: FibreMeasured, span: Span, tests: Sequence[DirectionTest]) -> int | None:
    """Return the most that a loss may be which traces of one wavelength hide; None where noise is not known."""
    hidden = [_hidden_mdb(fibre, span, test) for test in tests]
    if any(one is None for own in hidden for one in own):
        return None
    # Noise grows along each trace, so that both together hide the most at one of the two ends.
    at_ends = list(zip(*hidden, strict=True))
    return max(mean_tenth_mdb(first_mdb=own[0] or 0, second_mdb=own[-1] or 0) for own in at_ends)


def _hidden_mdb(fibre: FibreMeasured, span: Span, test: DirectionTest) -> tuple[int | None, int | None]:
    """Return what loss may be hidden at both ends: to one trace over all, or to the dullest of several."""
    traces = [one for one in test.measurements if isinstance(one, Trace)]
    hidden = [(trace, _at_ends_mdb(fibre, trace)) for trace in traces]
    over_all = [ends for trace, ends in hidden if trace.span == (span.first, span.last)]
    if over_all:
        at_a, at_b = ([one for one in own if one is not None] for own in zip(*over_all, strict=True))
        return min(at_a, default=None), min(at_b, default=None)
    both = [one for _, ends in hidden for one in ends]
    known = [one for one in both if one is not None]
    dullest = max(known) if len(known) == len(both) else None
    return dullest, dullest


def _at_ends_mdb(fibre: FibreMeasured, trace: Trace) -> tuple[int | None, int | None]:
    """Return what loss a trace may hide at its end towards A, and at that towards B."""
    scale = fibre.aligned(trace).scale
    noise = TraceNoise(trace, unseen_within_db=fibre.criteria.placing.unseen_within_db)
    near, far = noise.unseen_mdb(scale.start_um), noise.unseen_mdb(scale.end_um)
    return (near, far) if trace.is_forward else (far, near)
