"""What each kind of record may say: its members, their range and sign, and nothing hostile."""

from typing import Any

import orjson
import pytest
from pydantic import ValidationError

from service.vocabulary.canonical import canonical_json
from service.vocabulary.records.record import RECORD, canonical_record, read_stored_record
from service.vocabulary.records.words import RecordKind
from tests.factories import (
    Body,
    make_calibration,
    make_cleaning,
    make_continuity,
    make_dispersion,
    make_end_face,
    make_return_loss,
    make_termination,
)
from tests.record_kinds import MAKE, read_record


def test_there_is_a_factory_for_each_kind() -> None:
    assert set(MAKE) == {kind.value for kind in RecordKind}


def _leaves(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(value, dict):
        return [leaf for name, one in value.items() for leaf in _leaves(one, (*path, name))]
    if isinstance(value, list):
        return [leaf for index, one in enumerate(value[:1]) for leaf in _leaves(one, (*path, index))]
    return [path]


def _with(body: Any, path: tuple[Any, ...], value: Any) -> Any:
    changed = body.copy()
    changed[path[0]] = value if len(path) == 1 else _with(body[path[0]], path[1:], value)
    return changed


def refused_at(content: str | bytes) -> set[tuple[Any, ...]]:
    """Return where posted text is refused, less the kind that pydantic puts in front."""
    with pytest.raises(ValidationError) as refusal:
        RECORD.validate_json(content)
    return {error["loc"][1:] for error in refusal.value.errors()}


MARK = {"size_um": 1.0, "count": 1}
# With every member that one may have.
FULL = {
    kind: make(**full)
    for kind, make, full in (
        (
            "arc_calibration",
            make_calibration,
            {"site": "A", "temperature_c": 1.0, "humidity_percent": 50.0, "pressure_hpa": 1000.0, "altitude_m": 1.0},
        ),
        (
            "termination",
            make_termination,
            {
                "position": 1,
                "attempt": 1,
                "splicer_serial": "SPL-1",
                "cleave_length_mm": 10.0,
                "sleeve_length_mm": 40.0,
                "estimate_db": 0.02,
            },
        ),
        ("cleaning", make_cleaning, {"position": 1}),
        (
            "end_face",
            make_end_face,
            {
                "position": 1,
                "photograph_sha256": "0" * 64,
                "zones": [{"zone": "a", "scratches": [MARK], "defects": [MARK]}],
            },
        ),
        ("continuity", make_continuity, {"instrument_time": "2025-03-20T08:00:00Z"}),
        ("return_loss", make_return_loss, {"qualifier": "gt", "instrument_time": "2025-03-20T08:00:00Z"}),
        ("dispersion", make_dispersion, {"instrument_time": "2025-03-20T08:00:00Z"}),
    )
}


@pytest.mark.parametrize("body", [*(make() for make in MAKE.values()), *FULL.values(), make_continuity(seen=None)])
def test_a_record_reads_back_from_its_canonical_text_as_it_was(body: Body) -> None:
    record = read_record(body)
    text = canonical_json(canonical_record(record)).decode()
    assert read_stored_record(text) == record


HOSTILE = {
    "NaN": "NaN",
    "infinity": "-Infinity",
    "1e999": "1e999",
    "NUL": '"a\\u0000b"',
    "bidirectional": '"a\\u202eb"',
    "list": "[[]]",
    "object": '{"a": {}}',
    "negative": "-1000000",
    "true": "true",
}
# A yes or no takes true; nothing else here may.
TAKES_TRUE = {("passed",)}


@pytest.mark.parametrize("hostile", HOSTILE)
@pytest.mark.parametrize("kind", FULL)
def test_a_hostile_value_is_refused_wherever_it_stands(kind: str, hostile: str) -> None:
    for path in _leaves(FULL[kind]):
        if path == ("kind",) or (hostile == "true" and path in TAKES_TRUE):
            continue
        text = orjson.dumps(_with(FULL[kind], path, "HERE")).decode().replace('"HERE"', HOSTILE[hostile])
        assert {loc[: len(path)] for loc in refused_at(text)} == {path}


@pytest.mark.parametrize("kind", MAKE)
def test_a_member_that_nobody_knows_is_refused_by_its_name(kind: str) -> None:
    assert refused_at(orjson.dumps({**MAKE[kind](), "status": "accepted"})) == {("status",)}


REQUIRED = {
    "arc_calibration": {"splicer_serial", "fibre_type", "passed"},
    "splice": {"site", "joints", "splicer_serial", "sleeve_shrunk"},
    "termination": {"site", "fibre", "how", "connector", "polish"},
    "closure_state": {"site", "state"},
    "cleaning": {"site", "fibre", "side"},
    "end_face": {"site", "fibre", "side", "edition", "polish"},
    "continuity": {"fibre", "from_site", "to_site", "seen_fibre"},
    "return_loss": {
        "fibre",
        "from_site",
        "to_site",
        "wavelength_nm",
        "return_loss_db",
        "method",
        "far_end",
        "instrument",
    },
    "dispersion": {"fibre", "from_site", "to_site", "wavelength_nm", "instrument"},
}


@pytest.mark.parametrize("kind", REQUIRED)
def test_a_member_without_which_a_record_says_nothing_is_missed_by_its_name(kind: str) -> None:
    bare = {"kind": kind, "id": MAKE[kind]()["id"]}
    if kind == "dispersion":
        bare["pmd_ps"] = 0.1
    missing = {loc[0] for loc in refused_at(orjson.dumps(bare))}
    assert missing == REQUIRED[kind] | {"made_at", "operator", "device"}


@pytest.mark.parametrize(
    ("body", "path"),
    [
        (make_return_loss(return_loss_db=-0.001), ("return_loss_db",)),
        (make_dispersion(pmd_ps=-0.001), ("pmd_ps",)),
        (make_termination(estimate_db=-0.001), ("estimate_db",)),
        (make_end_face(zones=[{"zone": "a", "scratches": [{"size_um": -0.1, "count": 1}]}]), ("zones", 0)),
        (make_end_face(zones=[{"zone": "a", "defects": [{"size_um": 1.0, "count": 0}]}]), ("zones", 0)),
        (make_calibration(humidity_percent=-0.1), ("humidity_percent",)),
        (make_calibration(humidity_percent=100.1), ("humidity_percent",)),
    ],
)
def test_a_quantity_of_the_wrong_sign_is_refused(body: Body, path: tuple[Any, ...]) -> None:
    assert {loc[: len(path)] for loc in refused_at(orjson.dumps(body))} == {path}


@pytest.mark.parametrize(
    ("body", "path"),
    [
        (make_dispersion(chromatic_ps_per_nm=None, pmd_ps=None), ()),
        (make_end_face(zones=[{"zone": "a"}, {"zone": "a"}]), ()),
        (make_end_face(zones=[{"zone": zone} for zone in "abcda"]), ("zones",)),
        (make_end_face(zones=[{"zone": "e"}]), ("zones", 0, "zone")),
        (make_end_face(side="top"), ("side",)),
        (make_end_face(edition=15), ("edition",)),
        (make_cleaning(side="top"), ("side",)),
        (make_cleaning(position=5), ("position",)),
        (make_cleaning(position=0), ("position",)),
        (make_termination(how="glue"), ("how",)),
        (make_termination(polish="flat"), ("polish",)),
        (make_termination(attempt=0), ("attempt",)),
        (make_return_loss(qualifier="about"), ("qualifier",)),
        (make_return_loss(far_end="somewhere"), ("far_end",)),
        (make_return_loss(method="guess"), ("method",)),
        (make_continuity(seen=0), ("seen_fibre",)),
    ],
)
def test_what_no_record_can_say_is_refused_by_its_name(body: Body, path: tuple[Any, ...]) -> None:
    assert refused_at(orjson.dumps(body)) == {path}


@pytest.mark.parametrize("stated", [{"chromatic_ps_per_nm": None}, {"pmd_ps": None}])
def test_one_of_the_two_dispersions_is_enough(stated: Body) -> None:
    text = canonical_json(canonical_record(read_record(make_dispersion(**stated)))).decode()
    assert next(iter(stated)) not in text
