"""A trace whose own total is not what its parts add up to proves nothing."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, both_ways, cord_ended, make_otdr, only, sealed, splice_criterion, spliced, with_events
from tests.unit.judgement.judging import finding_of, judge, work_of

# 3 km at 0.2 dB/km, 0.3 dB at each end and 0.04 dB in each closure.
WHOLE_DB = 1.28


def stating(trace: Body, *, total_db: float, **total: Any) -> Body:
    """Return a trace with the attenuation of each section and a total from cord to cord."""
    stated = with_events(trace, lambda event: {**event, "attenuation_db_per_km": 0.2})
    first_m = trace["launch_cord"]["length_m"] if "launch_cord" in trace else 0.0
    return {**stated, "total_loss": {"loss_db": total_db, "from_m": first_m, "to_m": first_m + 3000.0, **total}}


def at_c1(*traces: Body, **consistency: Any) -> FindingDocument:
    criteria = only(splice_criterion(), consistency=consistency)
    judged = judge([*sealed(), *traces], design=cord_ended(), criteria=criteria)
    return finding_of(judged, "SPLICE-1550", site="C1")


def with_totals(first_db: float, second_db: float, **total: Any) -> list[Body]:
    there, back = both_ways(design=cord_ended())
    return [stating(there, total_db=first_db, **total), stating(back, total_db=second_db, **total)]


@pytest.mark.parametrize(
    ("total_db", "is_void"),
    # 0.1 dB, agreed, and half of each last place: 0.005 dB/km over 3 km, and 0.005 dB for four events and the total.
    # Where the first event's loss is left out of the total, it may be 0.3 dB less, and where the last one's is, 0.6.
    [
        (WHOLE_DB, False),
        (WHOLE_DB + 0.14, False),
        (WHOLE_DB + 0.141, True),
        (WHOLE_DB - 0.14, False),
        (WHOLE_DB - 0.141, True),
        (WHOLE_DB - 0.3 + 0.141, True),
        (WHOLE_DB - 0.3 + 0.14, False),
        (WHOLE_DB - 0.6 - 0.14, False),
        (WHOLE_DB - 0.6 - 0.141, True),
    ],
)
def test_a_total_that_is_not_the_sum_of_its_parts_voids_its_trace(total_db: float, is_void: bool) -> None:
    found = at_c1(*with_totals(WHOLE_DB, round(total_db, 3)))
    assert found["outcome"] == ("undetermined" if is_void else "conforming")
    assert found.get("reason") == ("total_unlike_parts" if is_void else None)
    assert len(found["void"]) == is_void


def test_how_far_a_total_may_be_off_is_agreed() -> None:
    traces = with_totals(WHOLE_DB, 1.5)
    assert at_c1(*traces)["outcome"] == "undetermined"
    assert at_c1(*traces, total_db=0.2)["outcome"] == "conforming"


@pytest.mark.parametrize(("unseen", "more_db"), [(["C1"], 0.044), (["C1", "C2"], 0.063)])
def test_what_is_not_listed_may_lose_something(unseen: list[str], more_db: float) -> None:
    # For each twice the threshold of 0.02 dB, and 0.01 dB/km for the two sections of 1 km beside it, by the root of
    # the sum of the squares: 0.0447 dB for one, 0.0632 dB for two, in whole thousandths.
    there, back = both_ways(design=cord_ended(), losses_db=dict.fromkeys(unseen))
    # Half of a last place less for each event that is not listed.
    allowed_db = 0.14 - 0.005 * len(unseen) + more_db
    whole_db = WHOLE_DB - 0.04 * len(unseen)
    for off_db, outcome in ((allowed_db, "conforming"), (allowed_db + 0.001, "undetermined")):
        total_db = round(whole_db + off_db, 3)
        assert at_c1(stating(there, total_db=total_db), stating(back, total_db=total_db))["outcome"] == outcome


def test_a_loss_typed_over_in_one_direction_shows_in_that_traces_total() -> None:
    there, back = both_ways(design=cord_ended(), losses_db={"C1": 0.4})
    typed = with_events(back, lambda event: {**event, "loss_db": -0.3} if event.get("loss_db") == 0.4 else event)
    found = at_c1(stating(there, total_db=1.64), stating(typed, total_db=1.64))
    assert (found["outcome"], found["reason"]) == ("undetermined", "total_unlike_parts")


@pytest.mark.parametrize("missing", ["attenuation_db_per_km", "loss_db"])
def test_of_parts_that_are_not_all_stated_only_more_than_the_total_is_known(missing: str) -> None:
    def lacking(trace: Body) -> Body:
        return with_events(trace, lambda event: {**event, missing: None} if event.get("loss_db") == 0.04 else event)

    there, back = with_totals(WHOLE_DB, WHOLE_DB)
    reason = "loss_not_stated" if missing == "loss_db" else None
    for total_db, expected in ((9.0, reason), (0.0, "total_unlike_parts")):
        changed = lacking({**back, "total_loss": {**back["total_loss"], "loss_db": total_db}})
        assert at_c1(there, changed).get("reason") == expected


def test_a_total_of_a_stretch_is_held_against_the_parts_of_that_stretch() -> None:
    # From behind C1 to before C2 there is 1 km of glass, less 50 m at each side.
    for loss_db, outcome in ((0.18, "conforming"), (0.4, "undetermined")):
        there, back = with_totals(WHOLE_DB, WHOLE_DB)
        there["total_loss"] = {"loss_db": loss_db, "from_m": 1550.0, "to_m": 2450.0}
        assert at_c1(there, back)["outcome"] == outcome


def test_from_the_port_to_the_end_the_cords_count() -> None:
    total = {"from_m": 0.0, "to_m": 3800.0}
    # 0.8 km of cord as well, whose glass is stated by the first event and not by the end.
    for loss_db, outcome in ((WHOLE_DB + 0.16, "conforming"), (WHOLE_DB + 0.5, "undetermined")):
        traces = with_totals(loss_db, loss_db, **total)
        assert at_c1(*traces)["outcome"] == outcome


def test_another_trace_that_agrees_with_itself_still_counts() -> None:
    there, back = with_totals(WHOLE_DB, WHOLE_DB)
    wrong = {**stating(make_otdr(design=cord_ended(), pulse_ns=10), total_db=3.0)}
    found = at_c1(there, wrong, back)
    assert (found["outcome"], [one["reason"] for one in found["void"]]) == ("conforming", ["total_unlike_parts"])


def test_the_trace_is_to_be_taken_again() -> None:
    judged = judge(
        [*sealed(), *with_totals(WHOLE_DB, 3.0)],
        design=cord_ended(),
        criteria=only(splice_criterion()),
    )
    assert ("retest", "A-B") in work_of(judged)


def test_who_takes_such_a_trace_again_takes_it_at_every_wavelength_from_there() -> None:
    """What was changed in one list of events may have been in the others, by less than shows."""
    there, back = with_totals(2.28, WHOLE_DB)
    others = both_ways(design=cord_ended(), wavelength_nm=1310)
    judged = judge(
        [*spliced(), *sealed(), there, back, *others], design=cord_ended(), criteria=only(splice_criterion())
    )
    [again] = [item for item in judged.document["work"] if item["act"] == "retest"]
    assert again["tests"] == [{"test": "otdr", "wavelengths_nm": [1310, 1550], "from_sites": ["A"]}]
