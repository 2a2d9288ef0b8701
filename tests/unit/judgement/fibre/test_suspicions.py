"""Tests made again until one conforms: said, and deciding nothing."""

from collections.abc import Callable, Sequence

import pytest

from service.vocabulary.findings.suspicion import SuspicionDocument
from tests.factories import (
    Body,
    cord_ended,
    link_criterion,
    make_attenuation,
    make_cleaning,
    make_closure_state,
    make_otdr,
    make_splice,
    only,
    sealed,
    splice_criterion,
    spliced,
)
from tests.unit.judgement.joints import traces
from tests.unit.judgement.routes import suspicions_in, verdict_of


def seen(
    bodies: Sequence[Body], kind: str, *, design: Body | None = None, criteria: Body | None = None
) -> list[SuspicionDocument]:
    """Return what is suspected of a kind on one fibre."""
    criteria = criteria or only(splice_criterion(limit_db=0.5))
    return suspicions_in(verdict_of({1: bodies}, design=design or cord_ended(), criteria=criteria), kind)


def powers(*losses_db: float, **changes: object) -> list[Body]:
    ends = (("A", "B"), ("B", "A"))
    return [
        make_attenuation(from_site=near, to_site=far, loss_db=loss_db, **changes)
        for (near, far), loss_db in zip(ends, losses_db, strict=True)
    ]


EARLIER, BETWEEN = "2025-03-20T07:00:00Z", "2025-03-20T07:30:00Z"


def repeated(first_db: float, *, second_db: float = 0.05, at: str = EARLIER) -> list[Body]:
    """Return a trace made an hour before the final ones, with what it reads at C1."""
    design = cord_ended()
    first = make_otdr(losses_db={"C1": first_db}, made_at=at, design=design)
    return [*spliced(), first, *traces(second_db, second_db, design=design)]


SPLICES = only(splice_criterion(limit_db=0.1))


# With the other direction's 0.050 dB, 0.150 dB has a mean at the limit.
@pytest.mark.parametrize(("first_db", "is_said"), [(0.15, False), (0.151, True)])
def test_a_splice_that_would_not_conform_by_the_trace_before_is_said(first_db: float, is_said: bool) -> None:
    found = seen(repeated(first_db), "tested_until_conforming", criteria=SPLICES)
    assert bool(found) is is_said


def test_it_names_both_tests() -> None:
    bodies = repeated(0.3)
    [found] = seen(bodies, "tested_until_conforming", criteria=SPLICES)
    first, second = bodies[len(spliced())]["id"], bodies[-2]["id"]
    assert found["records"] == [first, second]
    assert found["detail"] == (
        f"fibre 1 at C1 conforms to SPLICE-1550 by test {second}, and would not by test {first} before it, which reads "
        "0.3000 dB; no work is recorded between them"
    )


@pytest.mark.parametrize("make", [make_splice, make_cleaning, make_closure_state])
def test_work_between_them_is_a_reason_to_test_again(make: Callable[..., Body]) -> None:
    assert seen(repeated(0.3), "tested_until_conforming", criteria=SPLICES) != []
    assert seen([*repeated(0.3), make(made_at=BETWEEN)], "tested_until_conforming", criteria=SPLICES) == []


def test_what_does_not_conform_now_is_no_test_into_conformity() -> None:
    assert seen(repeated(0.3, second_db=0.2), "tested_until_conforming", criteria=SPLICES) == []


@pytest.mark.parametrize(("pulse_ns", "is_said"), [(30, True), (300, False)])
def test_another_pulse_is_another_subject(pulse_ns: int, is_said: bool) -> None:
    # Near enough to agree with 0.050 dB, and with that a mean of 0.065 dB.
    design = cord_ended()
    first = make_otdr(losses_db={"C1": 0.08}, made_at=EARLIER, pulse_ns=pulse_ns, design=design)
    bodies = [*spliced(), first, *traces(0.05, 0.05, design=design)]
    criteria = only(splice_criterion(limit_db=0.06))
    assert bool(seen(bodies, "tested_until_conforming", criteria=criteria)) is is_said


@pytest.mark.parametrize(
    ("combination", "first_db", "is_said"),
    # A budget of 3 km at 0.25 dB/km, 2 splices at 0.1 dB, 2 connections at 0.5 dB: 1.95 dB. The other way reads 1.5.
    [("mean", 2.4, False), ("mean", 2.401, True), ("worse", 1.95, False), ("worse", 1.951, True)],
)
def test_an_end_to_end_loss_that_conforms_only_now_is_said(combination: str, first_db: float, is_said: bool) -> None:
    first = make_attenuation(loss_db=first_db, made_at=EARLIER)
    bodies = [*sealed(), first, *powers(1.5, 1.5)]
    criteria = only(link_criterion(combination=combination))
    found = seen(bodies, "tested_until_conforming", criteria=criteria)
    assert bool(found) is is_said
