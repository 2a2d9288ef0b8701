"""Orders: items of many fibres put together, one for each act and site, in the order of a good foreman."""

from typing import Any, cast

import pytest

from service.vocabulary.findings.finding import WorkDocument
from service.vocabulary.findings.words import Act
from service.vocabulary.worklist.orders import FibreGroup, OrderDocument, compose_orders
from service.vocabulary.worklist.sentences import say_order, say_reason
from tests.factories import Body, layout_of, make_design

AT = "/v1/routes/r/worklist/items"


def item(act: str, *sites: str, clause: str = "it is so", value: str | None = None, **changes: Any) -> WorkDocument:
    """Return an item of work that can be done now."""
    cause = {"clause": clause, "criteria": ["S"], "records": []} | ({} if value is None else {"value": value})
    usual = {"is_urgent": False, "is_ready": True, "opens": False, "causes": [cause]}
    made: Any = {"act": act, "sites": list(sites), **usual, **changes}
    return cast(WorkDocument, made)


def asked_test(*, ready: bool = True, nm: tuple[int, ...] = (1310, 1550)) -> WorkDocument:
    """Return a test from both ends."""
    asked = {"test": "otdr", "wavelengths_nm": list(nm), "from_sites": ["A", "B"]}
    return item("test", "A", "B", tests=[asked], is_ready=ready)


def orders(*groups: tuple[tuple[int, ...], list[WorkDocument]], design: Body | None = None) -> list[OrderDocument]:
    """Compose the orders of groups of fibres with their work."""
    return compose_orders(layout_of(design), [FibreGroup(*one) for one in groups], items_at=AT)


def test_work_of_many_fibres_at_one_site_is_one_order_with_ranges() -> None:
    [one] = orders(
        ((2, 9), [item("re_splice", "C1", clause="it is {} dB", value="0.2100")]),
        ((3,), [item("re_splice", "C1", clause="it is {} dB", value="0.6100", is_urgent=True)]),
        ((5,), [item("re_splice", "C1", clause="its proof test failed")]),
    )
    assert one["said"] == "At C1: splice fibres 2, 3, 5 and 9 again"
    assert one["fibres"] == [{"first": 2, "last": 3}, {"first": 5, "last": 5}, {"first": 9, "last": 9}]
    assert (one["fibre_count"], one["is_urgent"], one["items"]) == (4, True, f"{AT}?act=re_splice&site=C1")
    assert [(why["because"], why["fibres"][0]["first"]) for why in one["why"]] == [
        ("It is 0.2100 to 0.6100 dB.", 2),
        ("Its proof test failed.", 5),
    ]


def test_neighbouring_sites_with_the_same_work_are_one_order_and_others_are_not() -> None:
    design = make_design(closures=4)
    same = [item("splice", site) for site in ("C1", "C2", "C4")]
    assert [one["sites"] for one in orders(((1, 2), same), design=design)] == [["C1", "C2"], ["C4"]]
    other = ((3,), [item("splice", "C2")])
    assert [one["sites"] for one in orders(((1, 2), same), other, design=design)] == [["C1"], ["C2"], ["C4"]]


def test_a_closure_is_sealed_when_nothing_is_left_to_do_in_it_on_any_fibre() -> None:
    seal = item("seal", "C1")
    [alone] = orders(((1, 2), [seal]))
    assert alone["is_ready"]
    told = orders(((1,), [seal]), ((2,), [item("splice", "C1"), seal]))
    assert [(one["act"], one["is_ready"]) for one in told] == [("splice", True), ("seal", False)]


def test_tests_come_after_the_work_and_those_that_can_be_made_now_apart() -> None:
    told = orders(((1,), [asked_test()]), ((2,), [item("splice", "B"), asked_test(ready=False)]))
    assert [(one["act"], one["is_ready"], one["fibre_count"]) for one in told] == [
        ("splice", True, 1),
        ("test", True, 1),
        ("test", False, 1),
    ]
    assert told[1]["said"] == "At A and B: test fibre 1, OTDR at 1310 and 1550 nm from A and B"


def test_other_tests_are_another_order() -> None:
    assert len(orders(((1,), [asked_test()]), ((2,), [asked_test(nm=(1550,))]))) == 2


def test_of_many_reasons_some_are_named_and_the_others_counted() -> None:
    work = [item("re_splice", "C1", clause=f"reason {number}") for number in range(7)]
    [one] = orders(*(((number,), [own]) for number, own in enumerate(work, 1)))
    assert (len(one["why"]), one["more_reasons"]) == (4, 3)


def test_a_site_that_the_design_no_longer_has_is_passed_over() -> None:
    assert orders(((1,), [item("splice", "C9")])) == []


@pytest.mark.parametrize(
    ("fibres", "places"),
    [
        ((7,), "tube 1 (blue), fibre 7 (red)"),
        ((1, 2, 3, 9), "tube 1 (blue), fibres 1 (blue) to 3 (green) and 9 (yellow)"),
        (tuple(range(1, 13)), "tube 1 (blue), fibres 1 (blue) to 12 (aqua)"),
        (tuple(range(1, 145)), "tubes 1 (blue) to 12 (aqua), every fibre"),
        ((*range(1, 25), 25), "tubes 1 (blue) and 2 (orange), every fibre; tube 3 (green), fibre 1 (blue)"),
    ],
)
def test_fibres_are_named_by_tube_and_colour(fibres: tuple[int, ...], places: str) -> None:
    # The twelve colours of TIA-598 in their order, from memory.
    [one] = orders((fibres, [item("splice", "C1")]), design=make_design(fibre_count=144))
    assert one["places"] == places


def test_fibres_scattered_over_many_tubes_stay_readable() -> None:
    scattered = tuple(range(1, 145, 12))
    [one] = orders((scattered, [item("splice", "C1")]), design=make_design(fibre_count=144))
    assert one["places"].endswith("tube 5 (slate), fibre 1 (blue); and in 7 more tubes")


def test_where_a_fibre_is_another_on_the_other_side_both_are_named() -> None:
    plan = [
        {"site": "C1", "fibres": {"first": 1, "last": 1}, "action": "spliced", "to_cable_fibre": 12},
        {"site": "C1", "fibres": {"first": 12, "last": 12}, "action": "spliced", "to_cable_fibre": 1},
    ]
    [one] = orders(((1,), [item("splice", "C1")]), design=make_design(splice_plan=plan))
    assert one["places"] == "towards A tube 1 (blue), fibre 1 (blue); towards B tube 1 (blue), fibre 12 (aqua)"


def test_a_lid_that_is_shut_is_opened() -> None:
    assert say_order(Act.RE_SPLICE, ["C5"], [(20, 20)], opens=True, tests=[]) == "Open C5: splice fibre 20 again"


@pytest.mark.parametrize("act", Act)
def test_every_act_is_said(act: Act) -> None:
    assert say_order(act, ["C1", "C2", "C3"], [(1, 2)], opens=False, tests=[]).startswith("At C1 to C3: ")


def test_a_value_stands_where_the_clause_has_it() -> None:
    assert say_reason("it is {} dB", ["0.2000"]) == "It is 0.2000 dB."
    assert say_reason("it is {} dB", ["0.9000", "-0.2000", "10.0000"]) == "It is -0.2000 to 10.0000 dB."


@pytest.mark.parametrize(
    ("fibres", "said"),
    [
        ((1, 2), "fibres 1 and 2"),
        ((1, 3, 4), "fibres 1, 3 and 4"),
        ((1, 2, 3, 7, 8), "fibres 1 to 3, 7 and 8"),
    ],
)
def test_two_neighbours_are_said_one_by_one(fibres: tuple[int, ...], said: str) -> None:
    [one] = orders((fibres, [item("re_splice", "C1")]))
    assert one["said"] == f"At C1: splice {said} again"


def test_before_a_second_reason_of_one_fibre_each_fibre_has_one() -> None:
    """Five reasons of fibre 1 and a sixth of fibre 2: of four that are given one is fibre 2's."""
    many = [{"clause": f"reason {number}", "criteria": ["S"], "records": []} for number in range(1, 6)]
    [one] = orders(((1,), [item("re_splice", "C1", causes=many)]), ((2,), [item("re_splice", "C1", clause="reason 6")]))
    assert [why["because"] for why in one["why"]] == ["Reason 1.", "Reason 2.", "Reason 3.", "Reason 6."]
    assert one["more_reasons"] == 2
