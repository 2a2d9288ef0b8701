"""What a criterion is about where no joint lies: the cable, some of its sections, or sites and sections together."""

import pytest
from pydantic import ValidationError

from service.vocabulary.criteria.review import contradictions_in
from tests.factories import (
    Body,
    bend_criterion,
    coefficient_criterion,
    connection_criterion,
    criteria_of,
    density_criterion,
    layout_of,
    make_otdr,
    only,
    reel_criterion,
    reflectance_criterion,
    required_record_criterion,
    sealed,
    splice_criterion,
    stray_criterion,
    with_event_from_a,
)
from tests.unit.judgement.judging import judge
from tests.unit.judgement.rules.test_attenuation_coefficient import stating
from worker.judgement.rules.attainable import attainability

BACK: Body = {"from_site": "B", "to_site": "A"}
BELOW_AT_ABOVE = ((-0.001, "conforming"), (0.0, "conforming"), (0.001, "nonconforming"))


def both(nm: int = 1550, *, losses: dict[float, float] | None = None, **shown: object) -> list[Body]:
    """Return traces of both directions with events so far from A that lose so much."""
    bodies = []
    for end in ({}, BACK):
        trace = make_otdr(wavelength_nm=nm, **end)
        for at_m, loss_db in (losses or {}).items():
            trace = with_event_from_a(trace, at_m, loss_db=loss_db, **shown)
        bodies.append(trace)
    return bodies


def found(bodies: list[Body], criterion: Body) -> list[tuple[str, str]]:
    """Return where a criterion is held, by site, section or the two ends, and its outcome there."""
    findings = judge([*sealed(), *bodies], criteria=only(criterion)).document["findings"]
    return [
        (one.get("site") or one.get("section") or f"{one['from_site']}-{one['to_site']}", one["outcome"])
        for one in findings
    ]


def bent(long_db: float) -> list[Body]:
    """Return a bend in S2 that shows nothing more than 0.1 dB at 1310 nm."""
    return [*both(1310, losses={1500.0: 0.1}), *both(losses={1500.0: long_db})]


# 0.1 dB at the shorter wavelength and a limit of 0.2 dB more: 0.3 dB.
@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize("at", ["cable", ["S2"], ["C1", "S2"]], ids=str)
def test_a_bend_along_the_cable_is_held_where_that_is_named(at: object, off_db: float, outcome: str) -> None:
    shown = dict(found(bent(round(0.3 + off_db, 3)), bend_criterion(at=at)))
    # In each other place that is named traces show that there is none.
    others = {"cable": ("S1", "S3"), "['C1', 'S2']": ("C1",)}.get(str(at), ())
    assert shown == {"S2": outcome, **dict.fromkeys(others, "conforming")}


@pytest.mark.parametrize(
    ("at", "where"),
    [
        (None, ["A", "C1", "C2", "B", "S2"]),
        ("line_closures", ["C1", "C2"]),
        ("terminals", ["A", "B"]),
        ("panels", []),
        (["C2"], ["C2"]),
        (["S1"], ["S1"]),
    ],
    ids=str,
)
def test_a_bend_elsewhere_is_not_about_the_cable(at: object, where: list[str]) -> None:
    criterion = bend_criterion(**({} if at is None else {"at": at}))
    assert [one for one, _ in found(bent(0.4), criterion)] == where


# Of a bend in the closure itself: 0.05 dB at 1310 nm, so that 0.25 dB is the most at 1550 nm.
@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
def test_a_bend_in_a_closure_is_held_by_the_limit_for_closures(off_db: float, outcome: str) -> None:
    long_db = round(0.25 + off_db, 3)
    bodies = [
        make_otdr(wavelength_nm=nm, losses_db={"C1": db}, **end)
        for nm, db in ((1310, 0.05), (1550, long_db))
        for end in ({}, BACK)
    ]
    assert dict(found(bodies, bend_criterion(at="line_closures")))["C1"] == outcome
    assert found(bodies, bend_criterion(at="cable")) == [(section, "conforming") for section in ("S1", "S2", "S3")]


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
def test_a_loss_on_no_joint_has_the_limit_of_its_section(off_db: float, outcome: str) -> None:
    bodies = both(losses={1500.0: round(0.1 + off_db, 3)})
    own = found(bodies, stray_criterion(at=["S2"], limit_db=0.1))
    # Where nothing is above the limit a second finding says that there is no other.
    assert own == ([("S2", outcome)] * 2 if outcome == "conforming" else [("S2", outcome)])
    assert found(bodies, stray_criterion(at=["S1"], limit_db=0.1)) == [("S1", "conforming")]
    assert found(bodies, stray_criterion(at=["S1", "S3"], limit_db=0.1)) == [("S1", "conforming"), ("S3", "conforming")]


@pytest.mark.parametrize(
    "criterion",
    [stray_criterion(at=["S3"]), bend_criterion(at=["S3"]), reflectance_criterion(joint=None, at=["S3"])],
    ids=lambda one: one["quantity"],
)
def test_that_a_section_is_clean_is_proven_by_traces_over_it(criterion: Body) -> None:
    assert found([], criterion) == [("S3", "undetermined")]
    assert found([*both(1310), *both()], criterion) == [("S3", "conforming")]
    assert found([*both(1310), both()[0]], criterion) == [("S3", "undetermined")]


# Both wavelengths hide so much each, the mean of both directions: 0.1 dB is half of the limit.
@pytest.mark.parametrize(("threshold_db", "outcome"), [(0.1, "conforming"), (0.101, "undetermined")])
def test_a_bend_that_traces_may_hide_is_not_proven_absent(threshold_db: float, outcome: str) -> None:
    dull = [
        make_otdr(wavelength_nm=nm, loss_threshold_db=threshold_db, **end) for nm in (1310, 1550) for end in ({}, BACK)
    ]
    assert found(dull, bend_criterion(at=["S3"], limit_db=0.2)) == [("S3", outcome)]


@pytest.mark.parametrize(("off_db", "outcome"), BELOW_AT_ABOVE)
@pytest.mark.parametrize("at", ["cable", ["S2"]], ids=str)
def test_what_is_sent_back_on_no_joint_has_a_limit_of_its_own(at: object, off_db: float, outcome: str) -> None:
    shown = both(losses={1500.0: 0.05}, kind="reflective", reflectance_db=round(-55.0 + off_db, 3))
    others = [("S1", "conforming"), ("S3", "conforming")] if at == "cable" else []
    assert found(shown, reflectance_criterion(joint=None, limit_db=-55.0, at=at)) == [("S2", outcome), *others]


@pytest.mark.parametrize(
    ("db_per_km", "outcome"), [(0.249, "conforming"), (0.25, "conforming"), (0.251, "nonconforming")]
)
def test_the_fibres_own_loss_has_the_limit_of_its_section(db_per_km: float, outcome: str) -> None:
    traces = [stating(make_otdr(**end), 0.2, *[db_per_km] * 3) for end in ({}, BACK)]
    criterion = coefficient_criterion(over="section", at=["S3", "S1"], limit_db_per_km=0.25)
    assert found(traces, criterion) == [("S1", outcome), ("S3", outcome)]


@pytest.mark.parametrize(
    ("criterion", "why"),
    [
        (splice_criterion(at="cable"), "no joint lies along the cable"),
        (connection_criterion(at="cable"), "no joint lies along the cable"),
        (required_record_criterion(at="cable"), "no joint lies along the cable"),
        (reflectance_criterion(joint="splice", at="cable"), "no joint lies along the cable"),
        (reflectance_criterion(joint=None, splicing="ribbon", at="cable"), "no joint lies along the cable"),
        (bend_criterion(at="terminal_splices"), "at terminals or at panels"),
        (stray_criterion(at="cable"), "tuple"),
        (stray_criterion(at=["S1", "S1"]), "twice"),
        (coefficient_criterion(over="span", at=["S1"]), "over says spans"),
        (density_criterion(at="line_closures"), "not permitted"),
    ],
)
def test_nothing_is_agreed_about_the_cable_that_cannot_be(criterion: Body, why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        criteria_of(only(criterion))


@pytest.mark.parametrize(
    ("criterion", "why"),
    [
        (stray_criterion(at=["S1", "S9"]), "names S9, which is no section of this route"),
        (stray_criterion(at=["C1"]), "names C1, which is no section of this route"),
        (coefficient_criterion(over="section", at=["S9"]), "names S9, which is no section of this route"),
        (reel_criterion(at=["S9"]), "names S9, which is no section of this route"),
        (bend_criterion(at=["C1", "S1", "X"]), "names X, which this route does not pass"),
        (splice_criterion(at=["S1"]), "names S1, which this route does not pass"),
    ],
)
def test_what_the_route_has_not_is_reported(criterion: Body, why: str) -> None:
    reports = attainability(layout_of(), criteria_of(only(criterion)))
    assert why in [report.detail for report in reports]


def test_limits_for_closures_and_for_the_cable_neither_contradict_nor_repeat_each_other() -> None:
    asked = {"code": "OTDR-1310", "quantity": "required_test", "test": "otdr", "wavelength_nm": 1310}
    tests = [asked, {**asked, "code": "OTDR-1550", "wavelength_nm": 1550}]
    closures, cable = bend_criterion(at="line_closures"), bend_criterion(code="CABLE", at="cable", limit_db=0.1)
    assert contradictions_in(criteria_of(only(closures, cable, *tests))) == []
    every = bend_criterion(code="EVERY", limit_db=0.1)
    [report] = contradictions_in(criteria_of(only(closures, every, *tests)))
    assert report.criteria == ("BEND", "EVERY")
    sections = [stray_criterion(code=code, at=at) for code, at in (("ONE", ["S1"]), ("TWO", ["S1", "S2"]))]
    [report] = contradictions_in(criteria_of(only(*sections, *tests)))
    assert report.criteria == ("ONE", "TWO")
