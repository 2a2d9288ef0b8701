"""Both end faces of each connection, by IEC 61300-3-35:2015; the limits themselves are held in tests/published."""

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import (
    SCRATCHED,
    Body,
    both_ways,
    end_face_criterion,
    make_cleaning,
    make_design,
    make_end_face,
    make_sections,
    make_site,
    make_terminal,
    make_termination,
    only,
    sealed,
    splice_criterion,
    stored,
    termination_criterion,
)
from tests.record_kinds import read_record
from tests.unit.judgement.judging import finding_of, judge
from worker.judgement.history.evidence import Evidence

LATER, BEFORE = "2025-03-25T08:00:00Z", "2025-03-19T08:00:00Z"
INSPECTED_AT = "2025-03-20T07:00:00Z"


def findings(
    bodies: Sequence[Body | Evidence], *, design: Body | None = None, **changes: Any
) -> dict[tuple[str, int, str], FindingDocument]:
    """Return the findings by site, position and side."""
    found = judge(bodies, design=design, criteria=only(end_face_criterion(**changes))).document["findings"]
    return {(one["site"], one["position"], one["side"]): one for one in found}


def face(bodies: Sequence[Body | Evidence], side: str = "towards_b") -> FindingDocument:
    """Return the finding about one side of the connection at A."""
    return findings(bodies)["A", 1, side]


def test_each_mated_pair_has_two_sides() -> None:
    # At B the splice of the pigtail comes before the connection.
    assert list(findings([])) == [
        ("A", 1, "towards_a"),
        ("A", 1, "towards_b"),
        ("B", 2, "towards_a"),
        ("B", 2, "towards_b"),
    ]


def test_a_clean_end_face_conforms_and_speaks_for_its_own_side_only() -> None:
    bodies = [make_end_face()]
    assert face(bodies)["outcome"] == "conforming"
    assert face(bodies)["readings"] == [{"record": bodies[0]["id"]}]
    other = face(bodies, "towards_a")
    assert (other["outcome"], other["reason"]) == ("undetermined", "no_evidence")
    assert other["detail"] == "no inspection is recorded"


def test_the_detail_names_zone_size_and_count_of_what_fails() -> None:
    finding = face([make_end_face(zones=SCRATCHED)])
    assert finding["outcome"] == "nonconforming"
    assert finding["detail"] == "zone A: scratches 2 of 1.0 um, none is allowed"


def test_every_failing_zone_is_named() -> None:
    zones = [
        {"zone": "a"},
        {"zone": "b", "scratches": [{"size_um": 3.1, "count": 1}], "defects": [{"size_um": 2.0, "count": 6}]},
        {"zone": "c"},
        {"zone": "d", "defects": [{"size_um": 10.1, "count": 1}]},
    ]
    assert face([make_end_face(zones=zones)])["detail"] == (
        "zone B: scratches 1 of 3.1 um, none may be above 3.0 um; "
        "zone B: defects 6 of 2.0 um, at most 5 are allowed; "
        "zone D: defects 1 of 10.1 um, none may be above 10.0 um"
    )


def test_marks_of_several_sizes_are_counted_together() -> None:
    def with_defects(*counts: int) -> list[Body]:
        defects = [{"size_um": size_um, "count": count} for size_um, count in zip((2.0, 5.0), counts, strict=True)]
        return [make_end_face(zones=[{"zone": "b", "defects": defects}, *({"zone": zone} for zone in "acd")])]

    assert face(with_defects(3, 2))["outcome"] == "conforming"
    assert face(with_defects(3, 3))["outcome"] == "nonconforming"


@pytest.mark.parametrize("missing", ["a", "b", "c", "d"])
def test_a_zone_that_is_not_in_the_record_was_not_inspected(missing: str) -> None:
    finding = face([make_end_face(zones=[{"zone": zone} for zone in "abcd" if zone != missing])])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "zone_not_inspected")
    assert finding["detail"] == f"not inspected: zone {missing.upper()}"


def test_a_zone_that_fails_decides_whatever_was_not_inspected() -> None:
    assert face([make_end_face(zones=SCRATCHED[:1])])["outcome"] == "nonconforming"


@pytest.mark.parametrize(
    ("polish", "outcome"), [("pc", "nonconforming"), ("upc", "nonconforming"), ("apc", "conforming")]
)
def test_an_angled_polish_has_limits_of_its_own(polish: str, outcome: str) -> None:
    assert face([make_end_face(zones=SCRATCHED, polish=polish)])["outcome"] == outcome


def test_another_edition_proves_nothing() -> None:
    finding = face([make_end_face(edition=2022)])
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "edition_unlike")
    assert finding["detail"] == "inspected by the edition of 2022, asked for: 2015"


@pytest.mark.parametrize(
    ("act", "reason"),
    [
        (make_cleaning(made_at=LATER), "before_cleaning"),
        (make_cleaning(made_at=INSPECTED_AT), "before_cleaning"),
        (make_cleaning(made_at=BEFORE), None),
        (make_cleaning(made_at=LATER, side="towards_a"), None),
        (make_cleaning(made_at=LATER, site="B"), None),
        (make_termination(made_at=LATER), "before_rework"),
        (make_termination(made_at=INSPECTED_AT), "before_rework"),
        (make_termination(made_at=BEFORE), None),
        (make_termination(made_at=LATER, site="B"), None),
        (stored(make_cleaning(device="tablet-9"), clock_is_flagged=True), "order_not_proven"),
        (stored(make_cleaning(made_at=LATER), is_ended=True), None),
    ],
)
@pytest.mark.parametrize("zones", [[{"zone": zone} for zone in "abcd"], SCRATCHED])
def test_only_an_inspection_since_the_last_touch_counts(act: Any, reason: str | None, zones: list[Body]) -> None:
    seen = make_end_face(zones=zones)
    finding = face([seen, act])
    assert finding.get("reason") == reason
    assert finding["void"] == ([{"record": seen["id"], "reason": reason}] if reason else [])


def test_a_new_connector_parts_both_sides() -> None:
    bodies = [make_end_face(side="towards_a"), make_termination(made_at=LATER)]
    assert face(bodies, "towards_a")["reason"] == "before_rework"


def test_the_latest_inspection_counts_whatever_came_first() -> None:
    bad, good = make_end_face(zones=SCRATCHED), make_end_face(made_at=LATER)
    for order in ([bad, good], [good, bad]):
        assert face(order)["outcome"] == "conforming"
    wrong = stored(make_end_face(made_at=LATER, device="tablet-9"), clock_is_flagged=True)
    assert face([bad, wrong])["reason"] == "order_not_proven"


def corded() -> Body:
    """Return a route with a patch panel whose two connections are joined by a patch cord."""
    panel = make_site("P", kind="patch_panel", termination="factory_cord", patch_cord=True)
    sites = [make_terminal("A"), panel, make_terminal("B")]
    return make_design(sites=sites, sections=make_sections([1000.0, 1000.0]))


def test_where_there_are_two_connections_a_record_has_to_name_its_own() -> None:
    named, unnamed = make_end_face(site="P", position=2), make_end_face(site="P")
    found = findings([named], design=corded())
    assert found["P", 2, "towards_b"]["outcome"] == "conforming"
    assert found["P", 1, "towards_b"]["outcome"] == "undetermined"
    assert findings([unnamed], design=corded())["P", 1, "towards_b"]["reason"] == "no_evidence"


@pytest.mark.parametrize(
    ("make_act", "reason"), [(make_cleaning, "before_cleaning"), (make_termination, "before_rework")]
)
@pytest.mark.parametrize(("position", "is_here"), [(1, False), (2, True), (None, True)])
def test_work_that_names_no_position_may_have_been_here(
    make_act: Callable[..., Body], reason: str, position: int | None, is_here: bool
) -> None:
    act = make_act(site="P", made_at=LATER, position=position)
    found = findings([make_end_face(site="P", position=2), act], design=corded())
    assert found["P", 2, "towards_b"].get("reason") == (reason if is_here else None)


def with_losses(**changes: Any) -> Body:
    """Return criteria for end faces, for the connection and for the splice behind it."""
    return only(end_face_criterion(**changes), termination_criterion(), splice_criterion(limit_db=0.5))


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({}, "end_face_failed"),
        ({"force": "advisory"}, None),
        ({"applies_when": {"least_span_m": 3000.01}}, None),
        ({"applies_when": {"least_span_m": 3000.0}}, "end_face_failed"),
    ],
)
def test_a_failed_end_face_keeps_the_loss_behind_it_from_being_final(changes: Body, reason: str | None) -> None:
    bodies = [*sealed(), *both_ways(), make_end_face(zones=SCRATCHED)]
    judged = judge(bodies, criteria=with_losses(**changes))
    assert finding_of(judged, "TERM-1550", site="A").get("reason") == reason
    assert finding_of(judged, "SPLICE-1550", site="A").get("reason") == reason
    assert finding_of(judged, "TERM-1550", site="B")["outcome"] == "conforming"
    assert finding_of(judged, "SPLICE-1550", site="C1")["outcome"] == "conforming"


def test_an_end_face_that_was_not_inspected_has_not_failed() -> None:
    judged = judge([*sealed(), *both_ways()], criteria=with_losses())
    assert finding_of(judged, "TERM-1550", site="A")["outcome"] == "conforming"
    untested = judge([make_end_face(zones=SCRATCHED)], criteria=with_losses())
    assert finding_of(untested, "TERM-1550", site="A")["reason"] == "no_evidence"


IMAGE = "0f" * 32


def by_instrument(passed: bool | None, *, is_counted: bool = False, is_scratched: bool = False, **changes: Any) -> Body:
    """Return what the instrument said of one side, alone or beside the counts of each zone."""
    body = make_end_face(instrument_passed=passed, photograph_sha256=IMAGE, **changes)
    if is_scratched:
        return {**body, "zones": SCRATCHED}
    return body if is_counted else {name: value for name, value in body.items() if name != "zones"}


@pytest.mark.parametrize(("passed", "outcome"), [(True, "conforming"), (False, "nonconforming")])
def test_the_instrument_s_word_decides_where_it_is_accepted_and_its_image_is_named(passed: bool, outcome: str) -> None:
    [finding] = [
        one
        for (site, _, side), one in findings([by_instrument(passed)], accepts="instrument").items()
        if (site, side) == ("A", "towards_b")
    ]
    assert finding["outcome"] == outcome
    said = "passed" if passed else "failed"
    assert finding["detail"] == f"{said} by the instrument, edition of 2015, image {IMAGE[:12]}"


@pytest.mark.parametrize(
    ("accepts", "body", "outcome", "reason"),
    [
        ("zones", by_instrument(True), "undetermined", "inspection_unlike"),
        ("instrument", make_end_face(), "undetermined", "inspection_unlike"),
        ("zones", by_instrument(False, is_counted=True), "conforming", None),
        ("instrument", by_instrument(True, is_scratched=True), "conforming", None),
        ("either", by_instrument(True), "conforming", None),
        ("either", make_end_face(), "conforming", None),
        ("either", by_instrument(False, is_counted=True), "nonconforming", None),
        ("either", by_instrument(True, is_scratched=True), "nonconforming", None),
        ("either", {**by_instrument(True), "zones": [{"zone": "a"}]}, "conforming", None),
    ],
)
def test_only_what_is_accepted_counts_and_of_either_no_word_may_be_a_fail(
    accepts: str, body: Body, outcome: str, reason: str | None
) -> None:
    finding = findings([body], accepts=accepts)["A", 1, "towards_b"]
    assert (finding["outcome"], finding.get("reason")) == (outcome, reason)


@pytest.mark.parametrize(("edition", "reason"), [(2022, None), (2015, "edition_unlike"), (2009, "edition_unlike")])
def test_an_instrument_judges_by_the_edition_that_was_agreed(edition: int, reason: str | None) -> None:
    body = by_instrument(True, edition=edition)
    finding = findings([body], accepts="instrument", edition=2022)["A", 1, "towards_b"]
    assert finding.get("reason") == reason


@pytest.mark.parametrize("changes", [{"edition": 2022}, {"edition": 2009, "accepts": "either"}])
def test_counts_are_held_against_no_edition_of_which_nothing_is_known(changes: Body) -> None:
    with pytest.raises(ValueError, match="edition of 2015 alone"):
        findings([], **changes)


def test_an_end_face_that_the_instrument_fails_keeps_the_loss_behind_it_from_being_final() -> None:
    criteria = only(end_face_criterion(accepts="instrument"), termination_criterion())
    bodies = [*sealed(), *both_ways(), by_instrument(False)]
    found = finding_of(judge(bodies, criteria=criteria), termination_criterion()["code"], site="A")
    assert (found["outcome"], found["reason"]) == ("undetermined", "end_face_failed")


@pytest.mark.parametrize(
    "changes", [{"zones": []}, {"instrument_passed": True}, {"zones": [], "instrument_passed": True}]
)
def test_an_inspection_says_something_and_names_the_image_that_it_says_it_of(changes: Body) -> None:
    with pytest.raises(ValueError, match=r"neither zones|needs photograph_sha256"):
        read_record({**make_end_face(), **changes})
