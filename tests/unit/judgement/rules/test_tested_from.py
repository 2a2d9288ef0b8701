"""From which end a quantity is tested: what A, B, either and both prove, at, below and above each limit."""

from collections.abc import Callable, Sequence
from typing import Any

import pytest
from pydantic import ValidationError

from service.vocabulary.criteria.review import Severity, contradictions_in
from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    SCRATCHED,
    Body,
    bend_criterion,
    coefficient_criterion,
    connection_criterion,
    continuity_criterion,
    cord_ended,
    criteria_of,
    end_face_criterion,
    length_criterion,
    link_criterion,
    make_attenuation,
    make_end_face,
    make_otdr,
    make_return_loss,
    make_splice,
    only,
    reflectance_criterion,
    required_test_criterion,
    return_loss_criterion,
    sealed,
    settings_criterion,
    splice_criterion,
    statistic_criterion,
    stray_criterion,
    termination_criterion,
    with_event_from_a,
    with_events,
)
from tests.unit.judgement.judging import finding_by, judge
from tests.unit.judgement.routes import verdict_of
from tests.unit.judgement.rules.test_attenuation_coefficient import stating
from tests.unit.judgement.rules.test_bend import both_wavelengths

FROM_B: Body = {"from_site": "B", "to_site": "A"}
Read = tuple[float | None, float | None]


def read_at(site: str, readings: Read, **changes: Any) -> list[Body]:
    """Return a trace for each direction that reads anything, from A and from B, after both closures were sealed."""
    ends: Sequence[Body] = ({}, FROM_B)
    own = [(one, loss_db) for one, loss_db in zip(ends, readings, strict=True) if loss_db is not None]
    return [*sealed(), *(make_otdr(losses_db={site: loss_db}, **one, **changes) for one, loss_db in own)]


PLACES: list[tuple[Callable[..., Body], str, Body | None]] = [
    (splice_criterion, "C1", None),
    (termination_criterion, "A", None),
    (connection_criterion, "A", cord_ended()),
]


@pytest.mark.parametrize(("criterion", "site", "design"), PLACES)
@pytest.mark.parametrize(
    ("asked", "readings", "value", "outcome"),
    [
        # 0.30 dB are allowed; below, at and above.
        ({"tested_from": "a"}, (0.299, None), "0.2990", "conforming"),
        ({"tested_from": "a"}, (0.300, None), "0.3000", "conforming"),
        ({"tested_from": "a"}, (0.301, None), "0.3010", "nonconforming"),
        ({"tested_from": "a"}, (0.301, 0.001), "0.3010", "nonconforming"),
        ({"tested_from": "a"}, (0.300, 0.900), "0.3000", "conforming"),
        ({"tested_from": "a"}, (None, 0.100), None, "undetermined"),
        ({"tested_from": "b"}, (None, 0.300), "0.3000", "conforming"),
        ({"tested_from": "b"}, (None, 0.301), "0.3010", "nonconforming"),
        ({"tested_from": "b"}, (0.100, None), None, "undetermined"),
        ({"tested_from": "either"}, (0.300, None), "0.3000", "conforming"),
        ({"tested_from": "either"}, (None, 0.301), "0.3010", "nonconforming"),
        ({"tested_from": "either"}, (0.400, 0.200), "0.3000", "conforming"),
        ({"tested_from": "either"}, (0.400, 0.201), "0.3005", "nonconforming"),
        ({"tested_from": "either"}, (None, None), None, "undetermined"),
        ({"tested_from": "either", "combination": "worse"}, (0.300, 0.200), "0.3000", "conforming"),
        ({"tested_from": "either", "combination": "worse"}, (0.301, 0.200), "0.3010", "nonconforming"),
        ({}, (0.400, 0.200), "0.3000", "conforming"),
        ({}, (0.300, None), None, "undetermined"),
        ({"combination": "worse"}, (0.300, 0.300), "0.3000", "conforming"),
        ({"combination": "worse"}, (0.200, 0.301), "0.3010", "nonconforming"),
        ({"combination": "worse"}, (0.300, None), None, "undetermined"),
    ],
)
def test_a_loss_is_held_as_it_was_agreed_to_be_read(
    criterion: Callable[..., Body],
    site: str,
    design: Body | None,
    asked: Body,
    readings: Read,
    value: str | None,
    outcome: str,
) -> None:
    held = criterion(limit_db=0.3, **asked)
    finding = finding_by(held, read_at(site, readings, design=design), site=site, design=design)
    shown = finding.get("value") if outcome != "undetermined" else None
    assert (shown, finding["outcome"]) == (value, outcome)


@pytest.mark.parametrize(
    ("readings", "limit", "outcome"),
    [
        ((0.150, 0.150), "0.1500", "conforming"),
        ((0.151, 0.150), "0.1500", "nonconforming"),
        ((0.300, None), "0.3000", "conforming"),
        ((None, 0.301), "0.3000", "nonconforming"),
    ],
)
def test_one_direction_may_have_a_limit_of_its_own(readings: Read, limit: str, outcome: str) -> None:
    criterion = splice_criterion(limit_db=0.15, tested_from="either", one_way_limit_db=0.3)
    finding = finding_by(criterion, read_at("C1", readings), site="C1")
    assert (finding["limit"], finding["outcome"]) == (limit, outcome)
    assert finding["detail"].endswith("from one direction only") is (limit == "0.3000")


@pytest.mark.parametrize("tested_from", ["a", "either"])
def test_one_direction_through_a_failed_end_face_proves_nothing(tested_from: str) -> None:
    bodies = [*read_at("A", (0.1, None)), make_end_face(zones=SCRATCHED)]
    criterion = termination_criterion(tested_from=tested_from)
    assert finding_by(criterion, bodies, beside=[end_face_criterion()], site="A")["reason"] == "end_face_failed"
    assert finding_by(criterion, bodies, site="A")["outcome"] == "conforming"


def test_where_cords_were_changed_each_direction_stands_for_itself() -> None:
    back = make_otdr(losses_db={"A": 0.2}, **FROM_B)
    back["receive_cord"] = {**back["receive_cord"], "serial": "ANOTHER"}
    bodies = [*sealed(), make_otdr(losses_db={"A": 0.3}), back]
    assert finding_by(termination_criterion(), bodies, site="A")["reason"] == "cords_changed"
    finding = finding_by(termination_criterion(tested_from="either"), bodies, site="A")
    assert (finding["value"], finding["outcome"]) == ("0.3000", "conforming")


@pytest.mark.parametrize(
    "changes",
    [
        {"one_way_limit_db": 0.3},
        {"tested_from": "a", "one_way_limit_db": 0.3},
        {"tested_from": "b", "combination": "worse"},
        {"basis": "estimate", "tested_from": "a"},
        {"basis": "estimate", "combination": "worse"},
    ],
)
def test_nothing_is_agreed_that_no_reading_could_be_held_against(changes: Body) -> None:
    with pytest.raises(ValidationError):
        criteria_of(only(splice_criterion(**changes)))


def test_a_limit_for_one_direction_below_that_for_both_is_told() -> None:
    criteria = [splice_criterion(limit_db=0.2, tested_from="either", one_way_limit_db=db) for db in (0.199, 0.2)]
    told = [contradictions_in(criteria_of(only(one))) for one in criteria]
    assert [[one.severity for one in reports if "direction may" in one.detail] for reports in told] == [
        [Severity.CONTRADICTORY],
        [],
    ]


# Of 0.15 dB both ways or 0.30 dB one way, as a mean over a fibre's line splices.
MEAN = {"limit_db": 0.15, "tested_from": "either", "one_way_limit_db": 0.3, "at": "line_closures"}


@pytest.mark.parametrize("over", ["fibre", "span", "site", "route"])
@pytest.mark.parametrize(
    ("readings", "limit", "outcome"),
    [
        ((0.15, 0.15), "0.1500", "conforming"),
        ((0.151, 0.15), "0.1500", "nonconforming"),
        ((0.3, None), "0.3000", "conforming"),
        ((0.301, None), "0.3000", "nonconforming"),
        ((None, 0.301), "0.3000", "nonconforming"),
    ],
)
def test_a_mean_has_the_limit_of_how_its_joints_were_read(over: str, readings: Read, limit: str, outcome: str) -> None:
    losses = [{"C1": db, "C2": db} for db in readings if db is not None]
    ends = [one for one, db in zip(({}, FROM_B), readings, strict=True) if db is not None]
    bodies = [*sealed(), *(make_otdr(losses_db=own, **end) for own, end in zip(losses, ends, strict=True))]
    criterion = statistic_criterion(over=over, **MEAN)
    verdict = verdict_of({1: bodies}, design=cord_ended(), criteria=only(criterion))
    judged = judge(bodies, design=cord_ended(), criteria=only(criterion))
    findings = [*verdict.document["findings"], *judged.document["findings"]]
    assert {(one["limit"], one["outcome"]) for one in findings} == {(limit, outcome)}
    assert all(("read from one end" in one["detail"]) is (limit == "0.3000") for one in findings)


@pytest.mark.parametrize(("second_db", "outcome"), [(0.44, "conforming"), (0.441, "nonconforming")])
def test_one_joint_read_one_way_gives_a_mean_the_limit_for_one_direction(second_db: float, outcome: str) -> None:
    # C1 is read as 0.16 dB from both sides, C2 from A alone: the other trace begins there.
    there = make_otdr(losses_db={"C1": 0.16, "C2": second_db})
    back = make_otdr(from_site="C2", to_site="A", losses_db={"C1": 0.16})
    finding = finding_by(statistic_criterion(**MEAN), [*sealed(), there, back], design=cord_ended())
    assert (finding["limit"], finding["outcome"]) == ("0.3000", outcome)
    assert finding["detail"].endswith("of which 1 is read from one end")


@pytest.mark.parametrize(
    ("readings", "outcome"), [((0.1, 0.1), "conforming"), ((0.101, 0.1), "nonconforming"), ((0.2, None), "conforming")]
)
def test_a_share_holds_each_joint_by_how_it_was_read(readings: Read, outcome: str) -> None:
    asked = {"tested_from": "either", "one_way_limit_db": 0.2, "statistic": "share_within", "at": ["C1"]}
    criterion = statistic_criterion(least_share_percent=100.0, **asked)
    assert finding_by(criterion, read_at("C1", readings))["outcome"] == outcome


def powers(*losses: float | None) -> list[Body]:
    ends: Sequence[Body] = ({}, FROM_B)
    return [
        *sealed(),
        *(make_attenuation(loss_db=db, **end) for end, db in zip(ends, losses, strict=True) if db is not None),
    ]


@pytest.mark.parametrize(
    ("tested_from", "combination", "losses", "outcome"),
    [
        ("a", "mean", (2.0, None), "conforming"),
        ("a", "mean", (2.001, 1.0), "nonconforming"),
        ("a", "mean", (None, 1.0), "undetermined"),
        ("b", "mean", (None, 2.0), "conforming"),
        ("b", "mean", (1.0, 2.001), "nonconforming"),
        ("either", "mean", (2.001, None), "nonconforming"),
        ("either", "mean", (None, 2.0), "conforming"),
        ("either", "mean", (2.1, 1.9), "conforming"),
        ("either", "worse", (2.001, 1.9), "nonconforming"),
        ("either", "worse", (None, None), "undetermined"),
        ("both", "mean", (2.1, 1.9), "conforming"),
        ("both", "worse", (2.1, 1.9), "nonconforming"),
        ("both", "mean", (1.0, None), "undetermined"),
    ],
)
def test_source_and_meter_are_held_in_the_directions_agreed(
    tested_from: str, combination: str, losses: Read, outcome: str
) -> None:
    criterion = link_criterion(
        tested_from=tested_from, combination=combination, limit={"kind": "fixed", "limit_db": 2.0}
    )
    finding = finding_by(criterion, powers(*losses))
    assert finding["outcome"] == outcome
    one_way = outcome != "undetermined" and (tested_from in {"a", "b"} or None in losses)
    assert finding["detail"].endswith("from one direction only") is one_way


@pytest.mark.parametrize(
    ("tested_from", "there", "asked_at"),
    [("a", "A", ["A"]), ("b", "B", ["B"]), ("either", "B", ["B"]), ("either", "A", ["A"]), ("both", "A", ["A", "B"])],
)
@pytest.mark.parametrize(("return_loss_db", "outcome"), [(32.0, "conforming"), (31.999, "nonconforming")])
def test_return_loss_is_held_at_the_ends_agreed(
    tested_from: str, there: str, asked_at: list[str], return_loss_db: float, outcome: str
) -> None:
    end = {} if there == "A" else FROM_B
    bodies = [*sealed(), make_return_loss(return_loss_db=return_loss_db, **end)]
    findings = judge(bodies, criteria=only(return_loss_criterion(tested_from=tested_from))).document["findings"]
    assert [one["site"] for one in findings] == asked_at
    assert {one["site"]: one["outcome"] for one in findings}[there] == outcome


def reflecting(*reflectances: float | None) -> list[Body]:
    """Return traces whose connections send back so much from A and from B."""

    def change(reflectance_db: float) -> Callable[[Body], Body]:
        return lambda one: {**one, "reflectance_db": reflectance_db} if one["kind"] == "reflective" else one

    ends: Sequence[Body] = ({}, FROM_B)
    own = [(end, db) for end, db in zip(ends, reflectances, strict=True) if db is not None]
    return [*sealed(), *(with_events(make_otdr(**end), change(db)) for end, db in own)]


@pytest.mark.parametrize(
    ("tested_from", "reflectances", "outcome"),
    [
        ("a", (-50.0, None), "conforming"),
        ("a", (-49.999, -60.0), "nonconforming"),
        ("a", (-50.0, -40.0), "conforming"),
        ("a", (None, -60.0), "undetermined"),
        ("b", (-40.0, -50.0), "conforming"),
        ("either", (None, -49.999), "nonconforming"),
        ("either", (-50.0, None), "conforming"),
        ("either", (-50.0, -49.999), "nonconforming"),
        ("both", (-50.0, -50.0), "conforming"),
        ("both", (-50.0, None), "undetermined"),
    ],
)
def test_reflectance_is_held_in_the_directions_agreed(tested_from: str, reflectances: Read, outcome: str) -> None:
    finding = finding_by(reflectance_criterion(tested_from=tested_from), reflecting(*reflectances), site="A")
    assert finding["outcome"] == outcome


@pytest.mark.parametrize(
    ("tested_from", "readings", "outcomes"),
    [
        ("a", (0.1, None), {"conforming"}),
        ("a", (0.101, None), {"nonconforming"}),
        ("b", (None, 0.101), {"nonconforming"}),
        ("b", (0.2, None), {"undetermined"}),
        ("either", (0.101, None), {"nonconforming"}),
        ("either", (0.15, 0.05), {"conforming"}),
        ("both", (0.2, None), {"undetermined"}),
    ],
)
def test_a_loss_on_no_joint_is_held_in_the_directions_agreed(
    tested_from: str, readings: Read, outcomes: set[str]
) -> None:
    ends: Sequence[Body] = ({}, FROM_B)
    bodies = [
        *sealed(),
        *(
            with_event_from_a(make_otdr(**end), 1500.0, loss_db=db)
            for end, db in zip(ends, readings, strict=True)
            if db is not None
        ),
    ]
    findings = judge(bodies, criteria=only(stray_criterion(tested_from=tested_from))).document["findings"]
    assert {one["outcome"] for one in findings} == outcomes


@pytest.mark.parametrize(
    ("tested_from", "short_db", "long_db", "outcome"),
    [
        ("a", (0.05, None), (0.25, None), "conforming"),
        ("a", (0.05, None), (0.251, None), "nonconforming"),
        ("b", (0.05, None), (0.05, None), "undetermined"),
        ("either", (None, 0.05), (None, 0.251), "nonconforming"),
        ("either", (0.05, 0.05), (0.3, 0.2), "conforming"),
        # Only the direction that has both wavelengths tells anything.
        ("either", (0.05, 0.05), (None, 0.251), "nonconforming"),
        ("either", (0.05, None), (None, 0.05), "undetermined"),
        ("both", (0.05, None), (0.3, None), "undetermined"),
    ],
)
def test_a_bend_is_held_in_the_directions_agreed(tested_from: str, short_db: Read, long_db: Read, outcome: str) -> None:
    losses = {(1310, way): db for way, db in enumerate(short_db)} | {(1550, way): db for way, db in enumerate(long_db)}
    bodies = [
        *sealed(),
        *(
            make_otdr(wavelength_nm=nm, losses_db={"C1": db}, **(FROM_B if way else {}))
            for (nm, way), db in losses.items()
            if db is not None
        ),
    ]
    assert finding_by(bend_criterion(tested_from=tested_from), bodies, site="C1")["outcome"] == outcome


def test_both_directions_of_a_bend_need_no_word() -> None:
    bodies = both_wavelengths((0.05, 0.05), (0.25, 0.25))
    assert finding_by(bend_criterion(), bodies, site="C1") == finding_by(
        bend_criterion(tested_from="either"), bodies, site="C1"
    )


@pytest.mark.parametrize(
    ("tested_from", "coefficients", "outcome"),
    [
        ("a", (0.25, None), "conforming"),
        ("a", (0.251, 0.1), "nonconforming"),
        ("b", (0.3, 0.25), "conforming"),
        ("b", (0.2, None), "undetermined"),
        ("either", (None, 0.251), "nonconforming"),
        ("either", (0.26, 0.24), "conforming"),
        ("both", (0.2, None), "undetermined"),
    ],
)
@pytest.mark.parametrize("over", ["section", "span"])
def test_the_fibres_own_loss_is_held_in_the_directions_agreed(
    over: str, tested_from: str, coefficients: Read, outcome: str
) -> None:
    ends: Sequence[Body] = ({}, FROM_B)
    bodies = [
        *sealed(),
        *(
            stating(make_otdr(**end), 0.2, *[value] * 3)
            for end, value in zip(ends, coefficients, strict=True)
            if value is not None
        ),
    ]
    criterion = coefficient_criterion(tested_from=tested_from, over=over)
    assert {one["outcome"] for one in judge(bodies, criteria=only(criterion)).document["findings"]} == {outcome}


@pytest.mark.parametrize(
    ("tested_from", "ends", "outcome"),
    [
        ("a", ({},), "conforming"),
        ("a", (FROM_B,), "undetermined"),
        ("b", (FROM_B,), "conforming"),
        ("either", (FROM_B,), "conforming"),
        ("either", (), "undetermined"),
        ("both", ({},), "undetermined"),
    ],
)
@pytest.mark.parametrize("criterion", [length_criterion, required_test_criterion, settings_criterion])
def test_one_trace_is_enough_where_one_end_was_agreed(
    criterion: Callable[..., Body], tested_from: str, ends: Sequence[Body], outcome: str
) -> None:
    bodies = [*sealed(), *(make_otdr(loss_threshold_db=0.01, **end) for end in ends)]
    findings = judge(bodies, criteria=only(criterion(tested_from=tested_from))).document["findings"]
    assert outcome in {one["outcome"] for one in findings}
    assert tested_from == "both" or len({one["outcome"] for one in findings}) == 1


@pytest.mark.parametrize(
    ("tested_from", "sites"), [("a", ["A"]), ("b", ["B"]), ("either", ["A"]), ("both", ["A", "B"])]
)
def test_only_the_tests_that_were_agreed_are_asked_for(tested_from: str, sites: list[str]) -> None:
    criteria = only(splice_criterion(tested_from=tested_from), required_test_criterion(tested_from=tested_from))
    bodies = [*(make_splice(site=site) for site in ("A", "C1", "C2", "B")), *sealed()]
    [item] = [one for one in judge(bodies, criteria=criteria).document["work"] if one["act"] == "test"]
    assert [asked["from_sites"] for asked in item.get("tests", [])] == [sites]


def test_where_either_end_is_enough_the_one_that_was_tested_asks_for_no_other() -> None:
    criteria = only(required_test_criterion(tested_from="either"), continuity_criterion(force="advisory"))
    bodies = [*(make_splice(site=site) for site in ("A", "C1", "C2", "B")), *sealed(), make_otdr(**FROM_B)]
    [item] = judge(bodies, criteria=criteria).document["work"]
    assert [asked["test"] for asked in item.get("tests", [])] == ["continuity"]


@pytest.mark.parametrize(
    ("asked", "needed", "is_told"),
    [("both", "a", False), ("both", "either", False), ("a", "a", False), ("a", "either", False), ("a", "b", True),
     ("a", "both", True), ("either", "a", True), ("either", "both", True)],
)  # fmt: skip
def test_a_required_test_covers_what_is_tested_from_the_same_ends(asked: str, needed: str, is_told: bool) -> None:
    criteria = only(required_test_criterion(tested_from=asked), splice_criterion(tested_from=needed))
    assert [one.criteria for one in contradictions_in(criteria_of(criteria)) if "required" in one.detail] == (
        [("SPLICE-1550",)] if is_told else []
    )


def test_one_reading_is_never_presented_as_the_loss_of_a_splice() -> None:
    finding: FindingDocument = finding_by(splice_criterion(tested_from="a"), read_at("C1", (0.05, None)), site="C1")
    assert finding["detail"] == "0.050 dB (A to B), from one direction only"
