"""What was left out of one fibre's traces shows beside the other fibres of its cable: it is undetermined then."""

from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    Body,
    cord_ended,
    link_criterion,
    make_attenuation,
    make_otdr,
    only,
    sealed,
    splice_criterion,
    stray_criterion,
    with_events,
)
from tests.unit.judgement.judging import because, where
from tests.unit.judgement.routes import verdict_of
from worker.judgement.route.settle import Verdict

# Three sections of 1 km. Section by section from A, in dB/km.
Stated = Sequence[float | None]
USUAL: Stated = (0.2, 0.2, 0.2)
DESIGN: Body = {**cord_ended(), "fibre_count": 24}
DESIGN["segments"][0]["fibres"] = [{"first": 1, "last": 24}]
SPLICES = only(splice_criterion())


def traces(fibre: int, stated: Stated, *, total_db: float | None = None, **changes: Any) -> list[Body]:
    """Return both traces of a fibre that state its sections, the cord behind each end as the section before it."""
    found = []
    for ends, launch_m, way in ((("A", "B"), 500.0, 1), (("B", "A"), 300.0, -1)):
        trace = make_otdr(fibre=fibre, from_site=ends[0], to_site=ends[1], design=DESIGN, **changes)
        behind_m = {launch_m + 1000.0 * number: one for number, one in enumerate(stated[::way], start=1)}

        def state(event: Body, behind_m: Mapping[float, float | None] = behind_m) -> Body:
            return {**event, "attenuation_db_per_km": behind_m.get(event["distance_m"])}

        total = {"loss_db": total_db, "from_m": launch_m, "to_m": launch_m + 3000.0}
        found.append({**with_events(trace, state), **({} if total_db is None else {"total_loss": total})})
    return found


def route_of(odd: Sequence[Body], *, fibres: int = 12, usual: Sequence[Stated] = (USUAL,)) -> dict[int, list[Body]]:
    """Return fibres that state the usual, each in turn, and a first one with traces of its own."""
    others = {number: traces(number, usual[number % len(usual)]) for number in range(2, fibres + 1)}
    return {number: [*sealed(), *own] for number, own in ({1: list(odd)} | others).items()}


def left_out(bodies: Mapping[int, Sequence[Body]], *, criteria: Body = SPLICES) -> list[FindingDocument]:
    found = verdict_of(bodies, design=DESIGN, criteria=criteria).document["findings"]
    assert {finding["outcome"] for finding in found} <= {"undetermined"}
    return found


@pytest.mark.parametrize(("section_db_per_km", "is_said"), [(0.35, False), (0.351, True), (0.05, False), (0.049, True)])
def test_a_section_that_loses_otherwise_by_more_than_is_agreed_proves_nothing(
    section_db_per_km: float, is_said: bool
) -> None:
    found = left_out(route_of(traces(1, (0.2, section_db_per_km, 0.2))))
    assert [(one["fibre"], one["reason"]) for one in found] == [(1, "glass_unlike")] * is_said


# Nine fibres of three sections are 24 distances from the middle, without those of the middle ones; eight are 21.
@pytest.mark.parametrize(
    ("fibres", "section_db_per_km", "is_said"),
    [(9, 0.35, False), (9, 0.351, True), (8, 0.9, False), (9, 0.04, False), (2, 0.9, False)],
)
def test_of_fewer_fibres_all_sections_together_tell_what_is_usual(
    fibres: int, section_db_per_km: float, is_said: bool
) -> None:
    found = left_out(route_of(traces(1, (0.2, section_db_per_km, 0.2)), fibres=fibres))
    assert [(one["fibre"], one["reason"]) for one in found] == [(1, "glass_unlike")] * is_said


@pytest.mark.parametrize(("section_db_per_km", "is_said"), [(0.366, False), (0.367, True)])
def test_of_fewer_fibres_a_wider_spread_hides_more(section_db_per_km: float, is_said: bool) -> None:
    """Half of the others lose 0.01 dB/km more, so that the median of the 24 distances is 0.01 dB/km.

    1.4826 times that is one standard deviation, 6.75 (1 + (18/24)^2) = 10.55 of them are 0.1564 dB in 1 km of section,
    whose middle is 0.21 dB.
    """
    usual = ((0.2, 0.2, 0.2), (0.21, 0.21, 0.21))
    found = left_out(route_of(traces(1, (0.2, section_db_per_km, 0.2)), fibres=9, usual=usual))
    assert [one["fibre"] for one in found] == [1] * is_said


def test_it_says_by_how_much_and_above_what_that_is_said() -> None:
    [found] = left_out(route_of(traces(1, (0.2, 0.4, 0.2))))
    assert found["detail"] == (
        "in section S2 beside its events, fibre 1 loses 0.2000 dB more than the middle of 12 fibres, mean of both "
        "directions; above 0.1500 dB that is not the glass alone"
    )
    assert (found["criterion"], found["from_site"], found["to_site"]) == ("SPLICE-1550", "C1", "C2")
    assert (found["force"], found["segments"]) == ("required", ["SEG1"])


@pytest.mark.parametrize(("deleted_mdb", "is_said"), [(150, False), (152, True)])
def test_an_event_deleted_at_a_joint_hides_in_both_sections_beside_it(deleted_mdb: int, is_said: bool) -> None:
    # Nothing is listed at C1, so the event behind it states both sections as one: 0.2 dB/km and what was deleted.
    as_one = round(0.2 + deleted_mdb / 2000, 3)
    odd = traces(1, (as_one, as_one, 0.2), losses_db={"C1": None})
    found = left_out(route_of(odd))
    assert len(found) == is_said
    assert all("in section S1 and S2 beside its events" in one["detail"] for one in found)


@pytest.mark.parametrize(("section_db_per_km", "is_said"), [(0.394, False), (0.395, True)])
def test_where_fibres_spread_widely_more_is_their_own(section_db_per_km: float, is_said: bool) -> None:
    # Of 13 fibres 8 are 0.01 dB from the middle: 4.5 times 1 + (18/13) squared times 1.4826 times 0.01 dB is 0.1945
    # dB, in whole ten thousandths at each step 0.1942 dB.
    usual = [(0.2, 0.2, 0.2), (0.19, 0.19, 0.19), (0.21, 0.21, 0.21)]
    found = left_out(route_of(traces(1, (0.2, section_db_per_km, 0.2)), fibres=13, usual=usual))
    assert len(found) == is_said
    assert all("above 0.1942 dB" in one["detail"] for one in found)


@pytest.mark.parametrize(("fibres", "section_db_per_km", "is_said"), [(11, 0.04, False), (12, 0.04, True)])
def test_among_fewer_fibres_than_agreed_less_than_the_middle_is_nothing(
    fibres: int, section_db_per_km: float, is_said: bool
) -> None:
    assert len(left_out(route_of(traces(1, (0.2, section_db_per_km, 0.2)), fibres=fibres))) == is_said


def test_size_and_number_of_fibres_are_agreed() -> None:
    bodies = route_of(traces(1, (0.2, 0.4, 0.2)), fibres=8)
    for consistency, is_said in (({"least_fibres": 8}, True), ({"least_fibres": 8, "hidden_db": 0.2}, False)):
        criteria = only(splice_criterion(), consistency=consistency)
        assert len(left_out(bodies, criteria=criteria)) == is_said


def test_of_what_nobody_states_nothing_is_said() -> None:
    assert left_out(route_of(traces(1, (0.2, None, 0.2)))) == []
    assert left_out(route_of(traces(1, (None, None, None)))) == []


def test_one_direction_is_no_mean() -> None:
    there, _ = traces(1, (0.2, 0.9, 0.2))
    assert left_out(route_of([there])) == []


@pytest.mark.parametrize(("more_db", "is_said"), [(0.15, False), (0.151, True)])
def test_without_sections_the_totals_less_the_events_are_held_together(more_db: float, is_said: bool) -> None:
    def with_total(fibre: int, total_db: float) -> list[Body]:
        return traces(fibre, (None, None, None), total_db=round(total_db, 3))

    bodies = {n: [*sealed(), *with_total(n, 1.28 + more_db * (n == 1))] for n in range(1, 13)}
    found = left_out(bodies)
    assert [one["reason"] for one in found] == ["glass_unlike"] * is_said
    assert all(one["detail"].startswith("by its totals less its events, fibre 1 loses 0.1510 dB more") for one in found)


@pytest.mark.parametrize(("more_db", "is_said"), [(0.15, False), (0.151, True), (-0.151, True)])
def test_source_and_meter_beyond_the_traces_unlike_on_other_fibres_leave_the_link_open(
    more_db: float, is_said: bool
) -> None:
    def measured(fibre: int) -> list[Body]:
        loss_db = round(1.3 + more_db * (fibre == 1), 3)
        ends = (("A", "B"), ("B", "A"))
        powers = [make_attenuation(fibre=fibre, from_site=near, to_site=far, loss_db=loss_db) for near, far in ends]
        return [*sealed(), *traces(fibre, USUAL, total_db=1.28), *powers]

    criteria = only(link_criterion())
    found = left_out({number: measured(number) for number in range(1, 13)}, criteria=criteria)
    assert [(one["fibre"], one["reason"]) for one in found] == [(1, "whole_unlike_parts")] * is_said
    assert all("by source and meter less its traces" in one["detail"] for one in found)


def test_it_is_required_where_any_required_criterion_limits_what_traces_show() -> None:
    bodies = route_of(traces(1, (0.2, 0.9, 0.2)))
    advisory = stray_criterion(code="STRAY", force="advisory")
    [found] = left_out(bodies, criteria=only(advisory, splice_criterion()))
    assert (found["criterion"], found["force"]) == ("SPLICE-1550", "required")
    [found] = [one for one in left_out(bodies, criteria=only(advisory)) if "fibre" in one]
    assert (found["criterion"], found["force"]) == ("STRAY", "advisory")


def test_at_a_wavelength_at_which_nothing_is_limited_nothing_is_said() -> None:
    assert left_out(route_of(traces(1, (0.2, 0.9, 0.2))), criteria=only(splice_criterion(wavelength_nm=1310))) == []


def settled(odd: Sequence[Body]) -> Verdict:
    return verdict_of(route_of(odd), design=DESIGN, criteria=SPLICES)


def test_the_segment_is_undetermined_and_says_what_is_missing() -> None:
    verdict = settled(traces(1, (0.2, 0.9, 0.2)))
    before = settled(traces(1, USUAL)).document["segments"]["SEG1"]["counts"]["undetermined"]
    assert verdict.document["segments"]["SEG1"]["counts"]["undetermined"] == before + 1
    assert [(one.criterion, one.reason, one.findings) for one in verdict.missing] == [
        ("SPLICE-1550", "glass_unlike", 1)
    ]


def test_the_traces_are_to_be_taken_again() -> None:
    [item] = settled(traces(1, (0.2, 0.9, 0.2))).document["work"]
    assert (item["act"], where(item), item["fibre"]) == ("retest", "A-B", 1)
    assert because(item).endswith("take the traces again from both ends, with every event in them.")
    assert "work" not in settled(traces(1, USUAL)).document


def test_a_list_that_was_changed_has_the_traces_at_every_wavelength_taken_again() -> None:
    """Whoever deleted an event at 1550 nm deleted it at 1310 nm too, where it may hide: else it looked like a bend."""
    both = only(splice_criterion(code="SPLICE-1310", wavelength_nm=1310), splice_criterion())
    bodies = route_of([*traces(1, (0.2, 0.4, 0.2)), *traces(1, USUAL, wavelength_nm=1310)], fibres=12)
    for fibre in range(2, 13):
        bodies[fibre] += traces(fibre, USUAL, wavelength_nm=1310)
    [item] = verdict_of(bodies, design=DESIGN, criteria=both).document["work"]
    assert item["tests"] == [{"test": "otdr", "wavelengths_nm": [1310, 1550], "from_sites": ["A", "B"]}]
