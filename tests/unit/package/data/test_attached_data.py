"""The attached data by itself: its published schemas hold, and a reader of a hundred lines comes to the same."""

import ast
import copy
import json
import sys
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from openapi_schema_validator import OAS31Validator

from openapi_examples import second_reader
from tests.factories import both_ways, make_criteria, make_design, sealed, spliced
from tests.judged_routes import content_of_route
from tests.package_factories import make_content
from tests.package_reading import attached_documents, draw_content
from tests.unit.package.judged import judged_content
from tests.write_openapi import SCHEMAS, written
from worker.package.data.attachment_forms import attachment_schemas
from worker.package.data.content import PackageContent

CONTENTS: dict[str, Callable[[], PackageContent]] = {"usual": make_content, "every quantity": judged_content}


def attached(content: PackageContent) -> dict[str, Any]:
    return attached_documents(draw_content(content))


@pytest.fixture(scope="module", params=CONTENTS)
def files(request: pytest.FixtureRequest) -> dict[str, Any]:
    return attached(CONTENTS[request.param]())


def test_the_kept_schemas_are_those_of_the_code() -> None:
    assert SCHEMAS.read_bytes() == written(dict(attachment_schemas())), "make examples writes them anew"


@pytest.mark.parametrize("name", attachment_schemas())
def test_each_schema_is_one_and_the_file_keeps_it(files: dict[str, Any], name: str) -> None:
    schema = json.loads(SCHEMAS.read_bytes())[name]
    OAS31Validator.check_schema(schema)
    assert list(OAS31Validator(schema).iter_errors(files[name])) == []


@pytest.mark.parametrize("name", attachment_schemas())
def test_a_schema_refuses_what_it_does_not_name(files: dict[str, Any], name: str) -> None:
    validator = OAS31Validator(json.loads(SCHEMAS.read_bytes())[name])
    assert not validator.is_valid({**files[name], "unheard_of": 1})
    assert not validator.is_valid({})


def test_a_quantity_is_text_of_so_many_places(files: dict[str, Any]) -> None:
    validator = OAS31Validator(json.loads(SCHEMAS.read_bytes())["criteria.json"])
    for wrong in (0.04, "0.04", "four"):
        assert not validator.is_valid({**files["criteria.json"], "mean_below_zero_db": wrong})


def test_the_second_reader_comes_to_the_same() -> None:
    assert list(second_reader.differences(attached(judged_content()))) == []


def unseen_readings(files: dict[str, Any]) -> list[Any]:
    """Return the readings of splices that no trace shows."""
    found = [one for fibre in files["findings.json"]["fibres"] for one in fibre["findings"]]
    return [
        reading
        for one in found
        if one["quantity"] == "splice_loss"
        for reading in one["readings"]
        if "within" in reading
    ]


@pytest.mark.parametrize("has_range", [True, False])
def test_the_second_reader_knows_that_noise_hides_more_than_the_threshold(has_range: bool) -> None:
    stated = {"dynamic_range": {"range_db": 12.0, "pulse_ns": 30, "averaging_s": 30.0}} if has_range else {}
    records = [*spliced(), *sealed(), *both_ways(losses_db={"C1": None}, **stated)]
    files = attached(content_of_route(make_design(), make_criteria(), records, fibres=[1]))
    assert {Decimal(reading["within"]) > Decimal("0.020") for reading in unseen_readings(files)} == {has_range}
    assert list(second_reader.differences(files)) == []
    for reading in unseen_readings(files):
        reading["within"] = "0.019" if has_range else "0.021"
    assert "the threshold is not the trace's" in "".join(second_reader.differences(files))


def test_the_second_reader_shares_no_code_with_the_service() -> None:
    tree = ast.parse(Path(second_reader.__file__).read_text(encoding="utf-8"))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.partition(".")[0] for name in imported} - sys.stdlib_module_names == {"pypdf"}


def splice_finding(files: dict[str, Any], **wanted: str) -> Any:
    """Return a splice's finding that has a value."""
    return next(
        finding
        for fibre in files["findings.json"]["fibres"]
        for finding in fibre["findings"]
        if finding["quantity"] == "splice_loss" and "value" in finding and "distance_m" in finding["readings"][0]
        if all(finding.get(name) == value for name, value in wanted.items())
    )


def _other_value(files: dict[str, Any]) -> None:
    splice_finding(files)["value"] = "0.0123"


def _other_outcome(files: dict[str, Any]) -> None:
    splice_finding(files, outcome="conforming")["outcome"] = "nonconforming"


def _other_reading(files: dict[str, Any]) -> None:
    splice_finding(files)["readings"][0]["value"] = "0.001"


def _wider_limit(files: dict[str, Any]) -> None:
    splice_finding(files, outcome="conforming")["limit"] = "-1.0000"


def _other_record(files: dict[str, Any]) -> None:
    record = splice_finding(files)["readings"][0]["record"]
    [body] = [one["record"] for one in files["records.json"]["records"] if one["record"]["id"] == record]
    for event in body["events"]:
        event["loss_db"] = "7.000"


def _other_count(files: dict[str, Any]) -> None:
    next(iter(files["findings.json"]["verdict"]["segments"].values()))["counts"]["conforming"] += 1


def _other_design(files: dict[str, Any]) -> None:
    files["design.json"]["name"] += "."


@pytest.mark.parametrize(
    "change",
    [_other_value, _other_outcome, _other_reading, _wider_limit, _other_record, _other_count, _other_design],
    ids=lambda change: change.__name__,
)
def test_the_second_reader_finds_what_was_changed(change: Callable[[dict[str, Any]], None]) -> None:
    files = attached(judged_content())
    # The digests are put right again: only the arithmetic is left to find it.
    before = copy.deepcopy(files)
    change(files)
    found = files["findings.json"]
    found["verdict"]["fibres"] = [second_reader.digest(fibre) for fibre in found["fibres"]]
    found["verdict_digest"] = files["package.json"]["verdict_digest"] = second_reader.digest(found["verdict"])
    assert files != before
    assert len(list(second_reader.differences(files))) >= 1


def test_it_prints_what_it_finds_and_ends_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "package.pdf"
    file.write_bytes(draw_content(judged_content()))
    assert second_reader.main(file) == 0
    assert "0 differences" in capsys.readouterr().out
    # Findings made up for the pages' sake, which no record of theirs says.
    file.write_bytes(draw_content(make_content()))
    assert second_reader.main(file) == 1
    assert "segment SEG-1 comes to" in capsys.readouterr().out
