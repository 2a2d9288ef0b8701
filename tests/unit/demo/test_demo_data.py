"""The demo's files: written by the simulator, valid, and true to their story by arithmetic of the test's own."""

import json
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import pytest

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.design.rules import faults_in
from service.vocabulary.records.record import RECORD, canonical_record
from service.vocabulary.records.work import SpliceRecord
from tests.simulator.write_demo import DEMO_FOLDER, demo_files

Json = dict[str, Any]
BATCHES = ("01_splicing", "02_re_splices", "03_sealing", "04_otdr", "05_attenuation", "06_repair", "07_retest")
FIBRES = range(1, 25)
UNCUT_AT_C3 = range(13, 25)
PLACE_TOLERANCE_M = 15.0
MARGIN_DB = 0.02


def load(name: str) -> Any:
    return json.loads((DEMO_FOLDER / f"{name}.json").read_text())


def records_of(*names: str) -> list[Json]:
    return [record for name in names for record in load(name)["records"]]


def limit_db(code: str) -> Any:
    [criterion] = [one for one in load("criteria")["criteria"] if one["code"] == code]
    return criterion["limit_db"] if "limit_db" in criterion else criterion["limit"]


def fibre_km_by_design() -> dict[str, float]:
    """Distance of each site from A, as the design has it."""
    route, offsets = load("route"), [0.0]
    for section in route["sections"]:
        fibre_m = (section["cable_length_m"] + section["slack_m"]) * (1 + section["excess_percent"] / 100)
        offsets.append(offsets[-1] + fibre_m / 1000)
    return {site["id"]: offset for site, offset in zip(route["sites"], offsets, strict=True)}


def placed_readings_db(record: Json, offsets_km: dict[str, float]) -> Iterator[tuple[str, float]]:
    """Take the launch cord off each event and give the site it lies on; every event but the end must lie on one."""
    whole_m = offsets_km["B"] * 1000
    for event in record["events"][:-1]:
        along_m = event["distance_m"] - record["launch_cord"]["length_m"]
        from_a_m = along_m if record["from_site"] == "A" else whole_m - along_m
        [site] = [id_ for id_, km in offsets_km.items() if abs(km * 1000 - from_a_m) <= PLACE_TOLERANCE_M]
        yield site, event["loss_db"]


def worst_means_db(traces: list[Json]) -> dict[tuple[int, str, int], float]:
    """Return the largest mean that each joint (fibre, site, wavelength) can have; an unseen one reads the threshold."""
    offsets_km = fibre_km_by_design()
    readings: dict[tuple[int, int, str], dict[str, float]] = {}
    for record in traces:
        key = record["fibre"], record["wavelength_nm"], record["from_site"]
        assert key not in readings
        readings[key] = dict(placed_readings_db(record, offsets_km))
    return {
        (fibre, site, nm): sum(readings[fibre, nm, end].get(site, 0.02) for end in "AB") / 2
        for fibre in FIBRES
        for site in offsets_km
        for nm in (1310, 1550)
        if not (site == "C3" and fibre in UNCUT_AT_C3)
    }


def joints_without_margin(traces: list[Json]) -> set[tuple[int, str, int]]:
    return {
        (fibre, site, nm)
        for (fibre, site, nm), mean_db in worst_means_db(traces).items()
        if mean_db > limit_db(f"{'termination' if site in 'AB' else 'splice'}-{nm}") - MARGIN_DB
    }


def first_traces() -> list[Json]:
    return records_of("04_otdr")


def second_traces() -> list[Json]:
    return [record for record in records_of("07_retest") if record["kind"] == "otdr"]


def test_the_simulator_writes_these_files_byte_for_byte() -> None:
    assert {path.name: path.read_text() for path in DEMO_FOLDER.iterdir()} == demo_files()


def test_the_design_and_the_criteria_are_valid() -> None:
    assert faults_in(Design.model_validate(load("route"))) == []
    Criteria.model_validate(load("criteria"))


@pytest.mark.parametrize("name", [*BATCHES, "conflict"])
def test_every_record_is_valid_and_a_batch_fits_one_request(name: str) -> None:
    records = load(name)["records"]
    assert 1 <= len(records) <= 500
    for record in records:
        RECORD.validate_python(record)


def test_no_two_records_share_an_id_and_all_people_are_known() -> None:
    records = records_of(*BATCHES)
    assert len({record["id"] for record in records}) == len(records)
    assert {record["operator"] for record in records} <= set(load("people"))


def test_records_happened_in_the_order_of_their_batches_and_in_the_past() -> None:
    times = [[datetime.fromisoformat(record["made_at"]) for record in records_of(name)] for name in BATCHES]
    assert all(max(earlier) < min(later) for earlier, later in pairwise(times))
    assert max(times[-1]) < datetime(2026, 4, 1, tzinfo=UTC)


def test_the_conflicting_record_has_the_id_of_an_earlier_one_and_other_content() -> None:
    [conflict] = records_of("conflict")
    [earlier] = [record for record in records_of(*BATCHES) if record["id"] == conflict["id"]]
    one, other = (canonical_record(RECORD.validate_python(record)) for record in (earlier, conflict))
    assert one != other


def test_each_planned_splice_was_made_once_at_first() -> None:
    made = [(record["site"], joint["fibre"]) for record in records_of("01_splicing") for joint in record["joints"]]
    planned = {
        (site["id"], fibre)
        for site in load("route")["sites"]
        for fibre in FIBRES
        if not (site["id"] == "C3" and fibre in UNCUT_AT_C3)
    }
    assert len(made) == len(planned)
    assert set(made) == planned
    assert {len(record["joints"]) for record in records_of("01_splicing")} == {1, 12}


def test_two_estimates_ask_for_action_and_both_are_spliced_again_before_any_closure_is_sealed() -> None:
    [action_limit_db] = [
        one["estimate_action_limit_db"] for one in load("criteria")["criteria"] if "estimate_action_limit_db" in one
    ]

    def above(name: str) -> set[tuple[str, int]]:
        splices = [RECORD.validate_python(record) for record in records_of(name)]
        return {
            (splice.site, joint.fibre)
            for splice in splices
            if isinstance(splice, SpliceRecord)
            for joint in splice.joints
            if joint.estimate_db > action_limit_db
        }

    again = {
        (record["site"], record["joints"][0]["fibre"], record["attempt"]) for record in records_of("02_re_splices")
    }
    assert above("01_splicing") == {("C2", 7), ("C4", 18)}
    assert again == {("C2", 7, 2), ("C4", 18, 2)}
    assert above("02_re_splices") | above("06_repair") == set()


def test_five_closures_are_sealed_and_the_repaired_one_once_more() -> None:
    states = [(one["site"], one["state"]) for one in records_of("03_sealing", "06_repair") if "state" in one]
    assert sorted(states[:5]) == [(f"C{number}", "sealed") for number in range(1, 6)]
    assert states[5:] == [("C5", "opened"), ("C5", "sealed")]


@pytest.mark.parametrize("names", [("04_otdr", "05_attenuation"), ("07_retest",)])
def test_every_fibre_is_tested_both_ways_at_both_wavelengths(names: tuple[str, ...]) -> None:
    tests = [
        (record["kind"], record["fibre"], record["wavelength_nm"], record["from_site"], record["to_site"])
        for record in records_of(*names)
    ]
    assert len(tests) == len(set(tests))
    assert set(tests) == {
        (kind, fibre, nm, *ends)
        for kind in ("otdr", "attenuation")
        for fibre in FIBRES
        for nm in (1310, 1550)
        for ends in (("A", "B"), ("B", "A"))
    }


def test_the_same_cord_stays_at_each_end() -> None:
    at_end = defaultdict(set)
    for record in first_traces() + second_traces():
        at_end[record["from_site"]].add(record["launch_cord"]["serial"])
        at_end[record["to_site"]].add(record["receive_cord"]["serial"])
    assert {end: len(serials) for end, serials in at_end.items()} == {"A": 1, "B": 1}
    assert at_end["A"] != at_end["B"]


def test_a_trace_takes_no_less_than_its_averaging() -> None:
    taken: dict[str, list[datetime]] = defaultdict(list)
    for record in first_traces():
        taken[record["instrument_serial"]].append(datetime.fromisoformat(record["made_at"]))
    gaps_s = [(later - earlier).total_seconds() for times in taken.values() for earlier, later in pairwise(times)]
    assert min(gaps_s) > max(record["averaging_s"] for record in first_traces())


def test_one_joint_alone_misses_its_limit_at_first_and_its_estimate_was_fine() -> None:
    assert joints_without_margin(first_traces()) == {(20, "C5", 1550)}
    assert worst_means_db(first_traces())[20, "C5", 1550] > limit_db("splice-1550") + MARGIN_DB
    [splice] = [
        record for record in records_of("01_splicing") if record["site"] == "C5" and record["joints"][0]["fibre"] == 20
    ]
    assert splice["joints"][0]["estimate_db"] <= 0.06


def test_the_failing_joint_lies_in_the_second_segment() -> None:
    first, second = load("route")["segments"]
    assert "C5" in second["sites"]
    assert "C3" in first["sites"]


def test_every_joint_keeps_its_limit_after_the_repair() -> None:
    assert joints_without_margin(second_traces()) == set()


def test_gains_and_unseen_joints_occur() -> None:
    losses = [event["loss_db"] for record in first_traces() for event in record["events"] if "loss_db" in event]
    assert min(losses) < 0
    assert min(abs(loss_db) for loss_db in losses) >= 0.02
    assert min(len(record["events"]) for record in first_traces()) < 7


@pytest.mark.parametrize("names", [("05_attenuation",), ("07_retest",)])
def test_every_link_keeps_its_limit_and_is_above_what_the_fibre_alone_can_have(names: tuple[str, ...]) -> None:
    length_km = fibre_km_by_design()["B"]
    budget = limit_db("link-1550")
    for fibre in FIBRES:
        splices = 6 if fibre in UNCUT_AT_C3 else 7
        limits_db = {
            1310: limit_db("link-1310")["limit_db"],
            1550: budget["attenuation_db_per_km"] * length_km
            + budget["splice_db"] * splices
            + budget["connection_db"] * 2,
        }
        for nm, least_db_per_km in ((1310, 0.28), (1550, 0.16)):
            one, other = (
                record["loss_db"]
                for record in records_of(*names)
                if (record["kind"], record["fibre"], record["wavelength_nm"]) == ("attenuation", fibre, nm)
            )
            assert least_db_per_km * length_km + 0.5 < (one + other) / 2 < limits_db[nm] - 0.5
            assert abs(one - other) < 0.2


def test_source_and_meter_agree_with_both_directions_of_the_otdr() -> None:
    # trade practice, computed: a one-cord reading is the bidirectional total over both end connections.
    totals: dict[tuple[int, int], list[float]] = defaultdict(list)
    powers: dict[tuple[int, int], list[float]] = defaultdict(list)
    for record in first_traces():
        totals[record["fibre"], record["wavelength_nm"]].append(record["total_loss"]["loss_db"])
    for record in records_of("05_attenuation"):
        assert record["reference_cords"] == 1
        powers[record["fibre"], record["wavelength_nm"]].append(record["loss_db"])
    for key, (one, other) in totals.items():
        assert (one + other) / 2 == pytest.approx(sum(powers[key]) / 2, abs=0.1)
