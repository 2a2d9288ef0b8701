"""What changes no outcome, and what changes it one way only, whatever the readings are."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, NamedTuple
from uuid import NAMESPACE_OID, uuid5

from hypothesis import given, settings
from hypothesis import strategies as st

from service.vocabulary.criteria.words import DecisionRule, Unit
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.findings.words import Outcome
from tests.factories import (
    SITES,
    Body,
    link_criterion,
    make_attenuation,
    make_design,
    make_otdr,
    make_return_loss,
    make_sections,
    make_splice,
    only,
    reflectance_criterion,
    return_loss_criterion,
    sealed,
    splice_criterion,
    termination_criterion,
)
from tests.unit.judgement.judging import finding_by, judge
from worker.judgement.judge import FibreJudgement
from worker.judgement.numbers.limits import Limit, hold

LOSSES_DB = st.integers(-300, 600).map(lambda mdb: mdb / 1000)
LENGTHS_M = st.lists(st.integers(200, 3000).map(float), min_size=3, max_size=3)
DAYS = st.permutations(range(20, 28))
Readings = Mapping[str, float | None]
Key = tuple[str, str, int]


class Said(NamedTuple):
    """What one finding says, but for the words and for the order of readings."""

    criterion: str
    site: str
    outcome: str
    value: str | None
    low: str | None
    high: str | None
    reason: str | None


@st.composite
def readings(draw: st.DrawFn) -> Readings:
    """Draw what one direction shows at each site; a closure's splice may be unseen, a connection is not."""
    seen: dict[str, float | None] = {site: draw(LOSSES_DB) for site in SITES}
    for closure in ("C1", "C2"):
        if draw(st.booleans()):
            seen[closure] = None
    return seen


@st.composite
def histories(draw: st.DrawFn) -> tuple[Body, list[Body]]:
    """Draw a design and what was posted about it: work, sealing, traces and losses, all at different times."""
    design = make_design(sections=make_sections(draw(LENGTHS_M)))
    days = [f"2025-03-{day:02d}T08:00:00Z" for day in draw(DAYS)]
    bodies = [
        *(make_splice(site=site, estimate_db=draw(st.sampled_from([0.01, 0.2]))) for site in SITES),
        *sealed(sites=draw(st.sampled_from([("C1", "C2"), ("C1",)]))),
        make_otdr(losses_db=draw(readings()), design=design, made_at=days[0]),
        make_otdr(from_site="B", to_site="A", losses_db=draw(readings()), design=design, made_at=days[1]),
        make_attenuation(made_at=days[2], loss_db=draw(LOSSES_DB)),
        make_attenuation(from_site="B", to_site="A", made_at=days[3], loss_db=draw(LOSSES_DB)),
    ]
    if draw(st.booleans()):
        bodies.append(make_otdr(losses_db=draw(readings()), design=design, made_at=days[4], pulse_ns=100))
    if draw(st.booleans()):
        bodies.append(make_splice(site="C2", attempt=2, made_at=days[5]))
    return design, bodies


def said_of(judgement: FibreJudgement, *, names: Mapping[str, str] | None = None) -> list[Said]:
    """Return what all findings say, with the names of their sites put back."""
    return sorted((_said(finding, names or {}) for finding in judgement.document["findings"]), key=str)


@given(history=histories())
def test_the_route_described_from_its_other_end_has_the_same_outcomes(history: tuple[Body, list[Body]]) -> None:
    design, bodies = history
    turned = {**design, "sites": design["sites"][::-1], "sections": design["sections"][::-1]}
    there, back = (said_of(judge(bodies, design=seen_from)) for seen_from in (design, turned))
    # Where both directions are wanting, the one that is told of first gives the reason.
    assert [one._replace(reason=None) for one in there] == [one._replace(reason=None) for one in back]


@given(history=histories(), data=st.data())
def test_records_that_come_twice_change_no_outcome(history: tuple[Body, list[Body]], data: st.DataObject) -> None:
    design, bodies = history
    again = data.draw(st.lists(st.sampled_from(bodies), max_size=len(bodies)))
    assert said_of(judge([*bodies, *again], design=design)) == said_of(judge(bodies, design=design))


@given(history=histories(), salt=st.text(max_size=3))
def test_other_ids_change_no_outcome(history: tuple[Body, list[Body]], salt: str) -> None:
    design, bodies = history
    names = {name: str(uuid5(NAMESPACE_OID, f"{salt}/{name}")) for name in _ids(design, bodies)}
    back = {new: old for old, new in names.items()}
    other = judge(_renamed(bodies, names), design=_renamed(design, names))
    assert said_of(other, names=back) == said_of(judge(bodies, design=design))


@given(site=st.sampled_from(SITES), better=LOSSES_DB, other=LOSSES_DB, more=st.integers(1, 400), way=st.booleans())
@settings(max_examples=4 * settings().max_examples)
def test_a_worse_reading_never_turns_fail_into_pass(
    site: str, better: float, other: float, more: int, way: bool
) -> None:
    before, after = (
        _outcomes(_traced(*pair[:: 1 if way else -1]))
        for pair in (({site: reading}, {site: other}) for reading in (better, round(better + more / 1000, 3)))
    )
    assert not [key for key in before if before[key] == "nonconforming" and after[key] == "conforming"]


@given(there=st.integers(0, 4000), back=st.integers(0, 4000), more=st.integers(0, 1000))
def test_a_worse_loss_end_to_end_never_turns_fail_into_pass(there: int, back: int, more: int) -> None:
    other = make_attenuation(from_site="B", to_site="A", loss_db=back / 1000)
    before, after = (
        finding_by(link_criterion(), [*sealed(), make_attenuation(loss_db=loss / 1000), other])["outcome"]
        for loss in (there, there + more)
    )
    assert (before, after) != ("nonconforming", "conforming")


@given(
    there=st.integers(-800, -200), back=st.integers(-800, -200), more=st.integers(0, 300), site=st.sampled_from("AB")
)
def test_a_stronger_reflection_never_turns_fail_into_pass(there: int, back: int, more: int, site: str) -> None:
    criteria = only(reflectance_criterion())
    before, after = (
        _by_key(_judged(_reflecting(site, {True: forward / 10, False: back / 10}), criteria=criteria))
        for forward in (there, min(there + more, 0))
    )
    assert [key for key in before if before[key] == "nonconforming" and after[key] == "conforming"] == []


@given(there=st.integers(150, 600), back=st.integers(150, 600), less=st.integers(0, 150))
def test_a_smaller_return_loss_never_turns_fail_into_pass(there: int, back: int, less: int) -> None:
    other = make_return_loss(from_site="B", to_site="A", return_loss_db=back / 10)
    at_a, at_b = (
        [
            finding_by(return_loss_criterion(), [*sealed(), own, other], site=site)["outcome"]
            for own in (make_return_loss(return_loss_db=forward / 10) for forward in (there, there - less))
        ]
        for site in ("A", "B")
    )
    assert ["nonconforming", "conforming"] not in (at_a, at_b)


@given(
    there=readings(),
    back=readings(),
    rule=st.sampled_from(["guarded", "four_way"]),
    less=st.integers(0, 300),
    more=st.integers(0, 300),
)
def test_a_wider_guard_band_never_turns_anything_into_conforming(
    there: Readings, back: Readings, rule: str, less: int, more: int
) -> None:
    bodies = _traced(there, back)
    narrow, wide = (
        _outcomes(bodies, criteria=_banded(rule, uncertainty_db=band / 1000)) for band in (less, less + more)
    )
    assert _turned_conforming(narrow, wide) == []
    # Against the simple rule, which takes no uncertainty into account, a guarded one is never more lenient.
    assert _turned_conforming(_outcomes(bodies, criteria=_banded("simple", uncertainty_db=0.0)), wide) == []


@given(there=readings(), back=readings(), threshold=st.integers(1, 100), more=st.integers(0, 200))
def test_a_duller_trace_never_turns_anything_into_conforming_but_what_contradicted_itself(
    there: Readings, back: Readings, threshold: int, more: int
) -> None:
    sharp, dull = (_judged(_traced(there, back, loss_threshold_db=t / 1000)) for t in (threshold, threshold + more))
    # A mean that is below zero only as long as it is known closely is no contradiction once it is not.
    contradicting = {_key(one) for one in sharp if one.get("reason") == "below_zero"}
    assert set(_turned_conforming(_by_key(sharp), _by_key(dull))) <= contradicting


@given(
    low=st.integers(-1000, 1000),
    width=st.integers(0, 500),
    below=st.integers(0, 500),
    above=st.integers(0, 500),
    bands=st.tuples(st.integers(0, 300), st.integers(0, 300)),
    rule=st.sampled_from(DecisionRule),
    is_minimum=st.booleans(),
)
@settings(max_examples=5 * settings().max_examples)
def test_wider_bounds_and_bands_never_turn_anything_into_conforming(
    low: int, width: int, below: int, above: int, bands: tuple[int, int], rule: DecisionRule, is_minimum: bool
) -> None:
    strict = Limit(0, Unit.DB, is_minimum=is_minimum, rule=rule, band=bands[0])
    narrow = hold(low=low, high=low + width, limit=strict)
    wide = hold(low=low - below, high=low + width + above, limit=replace(strict, band=sum(bands)))
    assert wide.outcome is not Outcome.CONFORMING or narrow.outcome is Outcome.CONFORMING
    if narrow.grade is not None and wide.grade == "full":
        assert narrow.grade == "full" or narrow.outcome is not wide.outcome


def _said(finding: FindingDocument, names: Mapping[str, str]) -> Said:
    # A pigtail's joints are numbered from A: their numbers change with the end, what is found of them does not.
    site = finding.get("site", "")
    return Said(
        criterion=finding["criterion"],
        site=names.get(site, site),
        outcome=finding["outcome"],
        value=finding.get("value"),
        low=finding.get("low"),
        high=finding.get("high"),
        reason=finding.get("reason"),
    )


def _ids(design: Body, bodies: Iterable[Body]) -> set[str]:
    named = {one["id"] for group in ("sites", "sections", "segments") for one in design[group]}
    keys = ("id", "operator", "device", "splicer_serial", "instrument_serial")
    named |= {body[key] for body in bodies for key in keys if key in body}
    return named | {"CORD-A", "CORD-B"}


def _renamed(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, dict):
        return {key: _renamed(inner, names) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_renamed(inner, names) for inner in value]
    return names.get(value, value) if isinstance(value, str) else value


def _traced(there: Readings, back: Readings, **changes: Any) -> list[Body]:
    return [
        *sealed(),
        make_otdr(losses_db=there, **changes),
        make_otdr(from_site="B", to_site="A", losses_db=back, **changes),
    ]


def _reflecting(site: str, reflectance_db: Mapping[bool, float]) -> list[Body]:
    """Return traces of the usual route on which one end's connection reflects so much in each direction."""
    traces = _traced(dict.fromkeys(SITES, 0.04), dict.fromkeys(SITES, 0.04))
    lids, both = traces[:2], traces[2:]
    for trace in both:
        is_forward = trace["from_site"] == "A"
        pairs = [event for event in trace["events"] if event["kind"] == "reflective"]
        for event, end in zip(pairs, "AB" if is_forward else "BA", strict=True):
            event["reflectance_db"] = reflectance_db[is_forward] if end == site else -60.0
    return [*lids, *both]


def _judged(bodies: Iterable[Body], *, criteria: Body | None = None) -> list[FindingDocument]:
    chosen = only(splice_criterion(), termination_criterion()) if criteria is None else criteria
    return judge(bodies, criteria=chosen).document["findings"]


def _outcomes(bodies: Iterable[Body], *, criteria: Body | None = None) -> dict[Key, str]:
    return _by_key(_judged(bodies, criteria=criteria))


def _by_key(findings: Iterable[FindingDocument]) -> dict[Key, str]:
    return {_key(one): one["outcome"] for one in findings}


def _key(finding: FindingDocument) -> Key:
    return finding["criterion"], finding["site"], finding["position"]


def _banded(rule: str, *, uncertainty_db: float) -> Body:
    changes: Body = {"decision": rule, "uncertainty_db": uncertainty_db}
    return only(splice_criterion(**changes), termination_criterion(**changes))


def _turned_conforming(before: Mapping[Key, str], after: Mapping[Key, str]) -> list[Key]:
    return [key for key, outcome in after.items() if outcome == "conforming" and before[key] != "conforming"]
