"""What is read of a stored record: integers of the last place, sites of the route, and nothing of what was ended."""

from typing import Any

import pytest

from service.vocabulary.records.words import RecordKind
from tests.factories import (
    Body,
    layout_of,
    make_attenuation,
    make_calibration,
    make_cleaning,
    make_closure_state,
    make_end_face,
    make_otdr,
    make_splice,
    make_termination,
    stored,
)
from worker.judgement.history.acts import ClosureAct, LinkLoss, Record, SplicedRibbon, Trace
from worker.judgement.history.records import KINDS_READ, read_record


def read(body: Body, **flags: bool) -> Record | None:
    return read_record(layout_of(), stored(body, **flags))


def trace_of(*events: dict[str, Any], **changes: Any) -> Trace:
    trace = read(make_otdr(events=list(events), **changes))
    assert isinstance(trace, Trace)
    return trace


def test_every_kind_of_record_is_read() -> None:
    # One that is not would keep every fibre that it reaches from being judged.
    assert set(RecordKind) == KINDS_READ


def test_quantities_are_integers_of_their_last_place() -> None:
    loss = read(make_attenuation(loss_db=1.25))
    assert isinstance(loss, LinkLoss)
    assert loss.loss_mdb == 1250
    [event] = trace_of({"distance_m": 512.34, "kind": "non_reflective", "loss_db": -0.04}).events
    assert (event.at_um, event.loss_mdb, event.reflectance_mdb) == (512_340_000, -40, None)


def test_site_indices_count_from_a_whichever_way_the_light_goes() -> None:
    back = read(make_otdr(from_site="B", to_site="A"))
    assert isinstance(back, Trace)
    assert (back.is_forward, back.low_index, back.high_index, back.ends) == (False, 0, 3, (3, 0))


def test_events_come_in_order_of_distance_and_end_with_the_nearest_end_of_the_fibre() -> None:
    trace = trace_of(
        {"distance_m": 900.0, "kind": "end"},
        {"distance_m": 700.0, "kind": "reflective"},
        {"distance_m": 300.0, "kind": "non_reflective"},
        {"distance_m": 500.0, "kind": "end"},
        {"distance_m": 500.0, "kind": "non_reflective"},
    )
    assert [event.at_um for event in trace.events] == [300_000_000, 500_000_000]
    assert [event.at_um for event in trace.behind_end] == [700_000_000]
    assert [event.at_um for event in trace.ends_shown] == [900_000_000, 500_000_000]
    assert trace.end_um == 500_000_000


def test_two_events_that_say_the_same_are_told_apart() -> None:
    twice = {"distance_m": 300.0, "kind": "non_reflective", "loss_db": 0.1}
    one, other = trace_of(twice, twice).events
    assert one != other
    assert one._replace(number=other.number) == other


def test_a_ribbon_keeps_the_part_of_each_fibre() -> None:
    ribbon = read(make_splice(fibres=[1, 2]))
    assert isinstance(ribbon, SplicedRibbon)
    assert {fibre: [act.fibre for act in own] for fibre, own in ribbon.by_fibre.items()} == {1: [1], 2: [2]}


@pytest.mark.parametrize(
    ("body", "is_kept", "is_kept_annulled"),
    [
        (make_otdr(), True, True),
        (make_attenuation(), True, True),
        (make_splice(), True, False),
        (make_termination(), True, False),
        (make_closure_state(state="opened"), True, False),
        (make_closure_state(), False, False),
        (make_cleaning(), False, False),
        (make_end_face(), False, False),
        (make_calibration(), False, False),
    ],
)
def test_of_what_was_ended_measurements_are_shown_and_work_goes_on_voiding_until_it_is_annulled(
    body: Body, is_kept: bool, is_kept_annulled: bool
) -> None:
    assert (read(body, is_ended=True) is not None) is is_kept
    assert (read(body, is_annulled=True) is not None) is is_kept_annulled


@pytest.mark.parametrize(
    "body", [make_splice(site="X"), make_attenuation(from_site="X"), make_attenuation(to_site="A")], ids=lambda _: ""
)
def test_what_is_not_between_sites_of_the_route_says_nothing(body: Body) -> None:
    assert read(body) is None


def test_a_lid_is_known_wherever_it_is() -> None:
    assert isinstance(read(make_closure_state(site="X")), ClosureAct)
