"""The criteria as agreed: nothing that decides an outcome can change without the page saying so."""

import json
from collections.abc import Iterator
from typing import Any

import pytest

from service.vocabulary.criteria.criteria import Criteria
from tests.package_factories import make_content
from tests.package_reading import section_of


def _leaves(document: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    items = document.items() if isinstance(document, dict) else enumerate(document)
    for key, value in items:
        if isinstance(value, dict | list | tuple):
            yield from _leaves(value, (*path, key))
        else:
            yield (*path, key)


EITHER = {"tested_from": "either", "combination": "worse", "one_way_limit_db": 0.24}
FULL_CRITERIA: dict[str, Any] = {
    "title": "Lot 3",
    "document": "Schedule C",
    "final_after_sealing": True,
    "rework_voids": "fibre",
    "cleaning_voids": True,
    "least_between_attempts_s": 61,
    "finished_splices_only": True,
    "placing": {
        "tolerance_m": 11.0,
        "tolerance_percent": 0.21,
        "scale_percent": 2.9,
        "off_spot_m": 52.0,
        "dead_zone_pulses": 3.1,
        "parted_pulses": 2.3,
        "unseen_within_db": 14.5,
    },
    "mean_below_zero_db": 0.04,
    "consistency": {
        "scattering_db": 0.29,
        "mean_db": 0.047,
        "total_db": 0.113,
        "span_db": 0.127,
        "span_percent": 3.3,
        "hidden_db": 0.16,
        "least_fibres": 14,
    },
    "dark_fibres_tolerated": 7,
    "segments_proven": "alone",
    "release": "with_route",
    "deemed_after_days": 21,
    "signature_level": "b_t",
    "criteria": [
        {
            "code": "S",
            "quantity": "splice_loss",
            "force": "required",
            "clause": "5.1",
            "wavelength_nm": 1550,
            "limit_db": 0.12,
            "basis": "traces",
            "tested_from": "both",
            "decision": "guarded",
            "uncertainty_db": 0.031,
            "applies_when": {"least_span_m": 1500.0, "most_span_m": 61000.0, "fibre_types": ["G.652.D"]},
            "fallback": {"attempts": 4, "limit_db": 0.21},
            "estimate_action_limit_db": 0.07,
            "one_way_action_limit_db": 0.17,
            "at": "line_closures",
            "splicing": "ribbon",
            "joining": ["G.652", "G.657.A1"],
        },
        {"code": "T", "quantity": "termination_loss", "wavelength_nm": 1310, "limit_db": 0.55, "at": ["A", "P1"]},
        {
            "code": "L",
            "quantity": "link_attenuation",
            "wavelength_nm": 1625,
            "over": "route",
            "combination": "mean",
            "reference_cords": 2,
            "least_attenuation_db_per_km": 0.163,
            "uncertainty_db": 0.23,
            "limit": {
                "kind": "budget",
                "attenuation_db_per_km": 0.224,
                "by_fibre_type": [{"fibre_type": "G.655", "attenuation_db_per_km": 0.251}],
                "splice_db": 0.105,
                "unlike_splice_db": 0.215,
                "connection_db": 0.508,
                "other_db": 0.091,
            },
        },
        {
            "code": "F",
            "quantity": "link_attenuation",
            "wavelength_nm": 1490,
            "combination": "worse",
            "least_attenuation_db_per_km": 0.18,
            "limit": {"kind": "fixed", "limit_db": 7.125},
        },
        {
            "code": "LM",
            "quantity": "link_attenuation",
            "wavelength_nm": 1490,
            "basis": "source_and_meter",
            "combination": "mean",
            "limit": {"kind": "fixed", "limit_db": 7.1},
        },
        {"code": "RA", "quantity": "reference_age", "wavelength_nm": 1490, "limit_h": 9.5},
        {"code": "R", "quantity": "required_test", "test": "otdr", "wavelength_nm": 1383, "over": "joined"},
        {"code": "Q", "quantity": "required_record", "joint": "splice"},
        {"code": "K", "quantity": "connection_loss", "wavelength_nm": 1577, **EITHER, "limit_db": 0.213},
        {
            "code": "X",
            "quantity": "reflectance",
            "tested_from": "both",
            "wavelength_nm": 1577,
            "joint": "pair",
            "limit_db": -50.5,
        },
        {
            "code": "M",
            "quantity": "joint_statistic",
            "wavelength_nm": 1577,
            "joint": "splice",
            "tested_from": "a",
            "statistic": "share_within",
            "over": "span",
            "limit_db": 0.251,
            "least_share_percent": 97.5,
        },
        {"code": "Y", "quantity": "stray_loss", "tested_from": "b", "wavelength_nm": 1577, "limit_db": 0.052},
        {
            "code": "B",
            "quantity": "bend",
            "short_wavelength_nm": 1311,
            "long_wavelength_nm": 1626,
            "limit_db": 0.205,
            "ratio": 1.55,
        },
        {"code": "D", "quantity": "splice_density", "limit_per_km": 1.05},
        {"code": "DD", "quantity": "direction_difference", "wavelength_nm": 1550, "limit_db": 0.47},
        {"code": "E", "quantity": "end_face", "edition": 2015, "accepts": "instrument"},
        {
            "code": "A",
            "quantity": "attenuation_coefficient",
            "wavelength_nm": 1577,
            "over": "section",
            "limit_db_per_km": 0.352,
            "least_length_m": 1200.0,
            "decision": "four_way",
            "uncertainty_db_per_km": 0.021,
        },
        {
            "code": "O",
            "quantity": "return_loss",
            "wavelength_nm": 1577,
            "basis": "measured",
            "limit_db": 31.5,
            "far_end": "angled",
        },
        {
            "code": "RD",
            "quantity": "reel_difference",
            "wavelength_nm": 1577,
            "limit_db_per_km": 0.033,
            "least_length_m": 1300.0,
        },
        {"code": "N", "quantity": "length", "limit_percent": 5.01},
        {"code": "C", "quantity": "continuity"},
        {
            "code": "Z",
            "quantity": "trace_settings",
            "wavelength_nm": 1577,
            "pulses": [{"up_to_m": 10_001.0, "most_ns": 101}, {"up_to_m": 40_001.0, "most_ns": 301}],
            "least_averaging_s": 15.5,
            "most_loss_threshold_db": 0.011,
            "least_range_ratio": 1.21,
            "most_range_ratio": 4.05,
            "states": ["group_index", "launch_cord"],
        },
        {"code": "CD", "quantity": "chromatic_dispersion", "wavelength_nm": 1577, "limit_ps_per_nm": 901.25},
        {"code": "PMD", "quantity": "polarization_mode_dispersion", "wavelength_nm": 1577, "limit_ps": 2.575},
        *(
            {"code": f"W-{demand['aspect']}", "quantity": "workmanship", "demand": demand}
            for demand in (
                {"aspect": "calibrated_splicer", "most_age_h": 25.5, "again_after_move": True},
                {"aspect": "cleave_angle", "limit_deg": 1.05},
                {"aspect": "cleave_length", "least_mm": 8.5, "most_mm": 16.5},
                {"aspect": "sleeve_length", "allowed_mm": [40.5, 60.5]},
                {"aspect": "attempts", "limit": 3},
                {"aspect": "attempts_above_loss", "wavelength_nm": 1577, "loss_db": 0.152, "least": 4},
                {"aspect": "proof_test"},
                {"aspect": "certificate"},
                {"aspect": "fusion"},
            )
        ),
    ],
}
OTHERS = {
    "rework_voids": "closure",
    "release": "alone",
    "segments_proven": "with_route",
    "signature_level": "b_lta",
    "force": "advisory",
    "combination": {"mean": "worse", "worse": "mean"},
    "reference_cords": 3,
    "test": "attenuation",
    "wavelength_nm": 1270,
    "short_wavelength_nm": 1300,
    "long_wavelength_nm": 1650,
    "basis": {"traces": "estimate", "measured": "computed", "source_and_meter": "otdr"},
    "tested_from": {"a": "b", "b": "either", "either": "both", "both": "a"},
    "decision": {"guarded": "four_way", "four_way": "guarded"},
    "joint": {"pair": "splice", "splice": "pair"},
    "over": {"span": "site", "section": "span", "route": "span", "joined": "route"},
    "far_end": "open",
    "at": "panels",
    "splicing": "single",
    "edition": 2022,
    "accepts": "zones",
}
# What is in a list has no name of its own.
STATED = {"group_index": "dynamic_range", "launch_cord": "receive_cord"}
# These choose the form of the rest; another value asks for other members.
FORMS = {"quantity", "kind", "aspect", "statistic"}


@pytest.mark.parametrize("path", [p for p in _leaves(FULL_CRITERIA) if p[-1] not in FORMS], ids=str)
def test_no_member_of_the_criteria_can_change_without_the_page_saying_so(path: tuple[Any, ...]) -> None:
    changed = json.loads(json.dumps(FULL_CRITERIA))
    holder = changed
    for key in path[:-1]:
        holder = holder[key]
    holder[path[-1]] = _another(path[-1], holder[path[-1]])
    if path[-1] == "tested_from":
        # It is said where either end is enough, and nowhere else.
        holder.pop("one_way_limit_db", None)
    assert _criteria_words(changed) != _criteria_words(FULL_CRITERIA)


def test_every_member_of_the_criteria_form_is_among_those_that_the_page_was_tried_with() -> None:
    tried = {step for path in _leaves(FULL_CRITERIA) for step in path if isinstance(step, str)}
    forms = Criteria.model_json_schema()
    named = {name for form in forms["$defs"].values() for name in form.get("properties", {})}
    assert named | set(forms["properties"]) == tried


def test_cords_that_nobody_asked_for_are_said_to_be_free() -> None:
    words = _criteria_words(FULL_CRITERIA)
    assert "referenced with 2 cords" in words
    assert "referenced with any number of cords, the same both ways" in words


def test_a_loss_by_otdr_is_said_to_be_one() -> None:
    [link] = [one for one in FULL_CRITERIA["criteria"] if one["code"] == "LM"]
    said = "by OTDR from both ends, both end connections counted"
    assert said in _criteria_words({"title": "Lot 5", "criteria": [{**link, "basis": "otdr"}]})
    assert said not in _criteria_words(FULL_CRITERIA)


def test_that_no_loss_is_too_low_is_said_in_one_line() -> None:
    [link] = [one for one in FULL_CRITERIA["criteria"] if one["code"] == "L"]
    free = {name: value for name, value in link.items() if name != "least_attenuation_db_per_km"}
    said = "its uncertainty is 0.230 dB, and no loss is set aside for being too low"
    assert said in _criteria_words({"title": "Lot 4", "criteria": [free]})
    assert said not in _criteria_words({"title": "Lot 4", "criteria": [link]})


def _another(member: str, value: Any) -> Any:
    other = OTHERS.get(member, STATED.get(value))
    if isinstance(other, dict):
        return other[value]
    if other is not None:
        return other
    if isinstance(value, bool):
        return not value
    return value + "x" if isinstance(value, str) else round(value + 1, 3)


def _criteria_words(criteria: dict[str, Any]) -> str:
    content = make_content(criteria=Criteria.model_validate(criteria))
    return str(section_of(content, "Criteria as agreed").blocks[:2])
