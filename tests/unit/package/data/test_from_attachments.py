"""A package's content comes back whole from what is attached, and data that contradict themselves are found."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from service.vocabulary.canonical import canonical_json, digest_of
from service.vocabulary.signatures import SignedBy
from tests.package_factories import make_content, make_earlier, with_verdict
from tests.package_reading import draw_content
from tests.unit.package.judged import judged_content, judged_route, left_out_route
from tests.unit.package.located import make_spots
from worker.package.data.attachments import attachments
from worker.package.data.content import PAGES_FORM, PackageContent
from worker.package.data.contradictions import contradictions
from worker.package.data.from_attachments import AttachedDataError, Making, read_content, read_making
from worker.package.view import build_view

CONTENTS: dict[str, Callable[[], PackageContent]] = {
    "usual": make_content,
    "every quantity": judged_content,
    "joints located": left_out_route,
    "with a web address": lambda: make_content(verification_url="https://acceptance.example/v1/verifications/K7QM"),
    "names in other alphabets": lambda: make_content(
        owner="Δήμος <Ö>", responsible_person="Ō 张 Ω", responsible_position=None, project_name="№ 7"
    ),
    "an own key, and earlier packages": lambda: make_content(
        contractor_signature=SignedBy.OWN_KEY,
        supersedes=[
            make_earlier("HBR-7/3", {"SEG-2": ("accepted", "stands")}, reason="C5 stands open"),
            make_earlier("HBR-7/1", {"SEG-2": ("refused", "superseded"), "SEG-1": (None, "stands")}),
        ],
    ),
}


@pytest.fixture(params=CONTENTS)
def content(request: pytest.FixtureRequest) -> PackageContent:
    return CONTENTS[request.param]()


def test_what_is_attached_gives_the_content_back(content: PackageContent) -> None:
    again = read_content(attachments(content))
    assert replace(again, records=list(again.records)) == replace(content, records=list(content.records))
    assert build_view(again) == build_view(content)
    assert draw_content(again) == draw_content(content)


def test_the_making_is_read_even_of_a_package_of_which_nothing_else_is_known() -> None:
    start = {"form": "package.1", "pages_form": 7, "program": "route-acceptance 9.1", "more": [1]}
    assert read_making({"package.json": canonical_json(start)}) == Making(program="route-acceptance 9.1", pages_form=7)
    assert read_making(attachments(make_content())).pages_form == PAGES_FORM


def test_another_form_of_package_is_named() -> None:
    files = changed("package.json", lambda about: about | {"form": "package.3"})
    with pytest.raises(
        AttachedDataError, match=r"^package.json: it is of the form 'package.3', and this program reads"
    ):
        read_making(files)


def as_first_released(about: Any) -> Any:
    """Return what package.json said in its first form."""
    new = {"responsible_position", "design_agreed_at", "contractor_signature", "declarations", "made_at"}
    kept = {name: value for name, value in about.items() if name not in new}
    return kept | {
        "form": "package.1",
        "pages_form": 1,
        "supersedes": [{"number": "HBR-7/1", "segments": {"SEG-1": "refused", "SEG-2": None}}],
    }


def test_a_package_of_the_first_form_is_read_and_comes_to_the_same_bytes() -> None:
    files = changed("package.json", as_first_released)
    again = read_content(files)
    assert (again.pages_form, again.number) == (1, make_content().number)
    assert attachments(again) == files
    assert list(contradictions(replace(again, first_form=None, pages_form=PAGES_FORM))) == list(
        contradictions(make_content())
    )


@pytest.mark.parametrize("more", [{"made_at": "2026-03-20T15:04:09.000000Z"}, {"declarations": {}}, {"more": 1}])
def test_a_package_of_the_first_form_says_nothing_that_came_later(more: Any) -> None:
    with pytest.raises(AttachedDataError, match="holds more than its form names"):
        read_content(changed("package.json", lambda about: as_first_released(about) | more))


@pytest.mark.parametrize("party", ["service", "contractor"])
def test_a_declaration_that_its_own_data_do_not_give_is_found(party: str) -> None:
    def altered(about: Any) -> Any:
        declared = about["declarations"]
        return about | {"declarations": declared | {party: declared[party].replace("2026", "2025")}}

    with pytest.raises(AttachedDataError, match="holds more than its form names"):
        read_content(changed("package.json", altered))


def changed(name: str, change: Callable[[Any], Any]) -> dict[str, bytes]:
    """Return the files of a package, one of them changed and written as all are."""
    files = dict(attachments(make_content()))
    return {**files, name: canonical_json(change(json.loads(files[name])))}


def without(name: str, member: str) -> dict[str, bytes]:
    """Return the files of a package, one of them without a member."""
    return changed(name, lambda document: {key: value for key, value in document.items() if key != member})


def with_record(entry: Any, **members: Any) -> Any:
    return {**entry, "record": {**entry["record"], **members}}


FILES: Mapping[str, bytes] = attachments(make_content())
BAD_FILES: dict[str, tuple[dict[str, bytes], str]] = {
    "none": ({}, "package.json: it is not attached"),
    "one missing": ({key: FILES[key] for key in FILES if key != "design.json"}, "design.json: it is not attached"),
    "no JSON": ({**FILES, "findings.json": b"{"}, "findings.json: it is no JSON: "),
    "no text": ({**FILES, "criteria.json": b"\xff\xfe"}, "criteria.json: 'utf-8'"),
    "no object": ({**FILES, "package.json": b"[]"}, "package.json: Input should be an object"),
    "a member missing": (without("package.json", "owner"), "package.json: owner: Field required"),
    "another kind of member": (
        changed("package.json", lambda about: about | {"audit": {"sequence": "418", "hash": ""}}),
        "package.json: audit.sequence: Input should be a valid integer",
    ),
    "no time": (
        changed("package.json", lambda about: about | {"submitted_at": "soon"}),
        "package.json: submitted_at: Input should be a valid datetime",
    ),
    "another verdict": (
        changed("findings.json", lambda found: found | {"verdict_digest": "0" * 64}),
        "findings.json: it names another verdict",
    ),
    "another route": (
        changed("design.json", lambda design: design | {"code": "X"}),
        "design.json: it is of another route",
    ),
    "a record of no kind": (
        changed("records.json", lambda kept: {"records": [{**kept["records"][0], "record": {"form": "record.1"}}]}),
        "records.json: 'kind' is missing",
    ),
    "a criterion of no kind": (
        changed("criteria.json", lambda criteria: criteria | {"criteria": [{"quantity": "warmth" * 99, "code": "X"}]}),
        "criteria.json: criteria.0: it is of no known kind",
    ),
    "a number for a quantity": (
        changed("records.json", lambda kept: {"records": [with_record(kept["records"][1], group_index=1.468)]}),
        "records.json: ",
    ),
    "another form of record": (
        changed("records.json", lambda kept: {"records": [with_record(kept["records"][0], form="record.2")]}),
        "records.json: it holds a record that is not in canonical form",
    ),
    "a quantity with a place less": (
        changed("records.json", lambda kept: {"records": [with_record(kept["records"][1], loss_threshold_db="0.02")]}),
        "records.json: it holds a record that is not in canonical form",
    ),
    "more than the form names": (
        changed("findings.json", lambda found: found | {"more": 1}),
        "findings.json: it holds more than its form names, or is not in canonical form",
    ),
    "not canonical": ({**FILES, "design.json": FILES["design.json"] + b"\n"}, "design.json: it holds more than"),
    "a file more": ({**FILES, "more.json": b"{}"}, "more.json: it holds more than"),
}


@pytest.mark.parametrize("case", BAD_FILES)
def test_what_is_no_data_of_a_package_gives_one_sentence(case: str) -> None:
    files, sentence = BAD_FILES[case]
    with pytest.raises(AttachedDataError) as refused:
        read_content(files)
    said = str(refused.value)
    assert said.startswith(sentence)
    assert "\n" not in said


def test_the_data_of_a_judged_route_do_not_contradict_each_other() -> None:
    assert list(contradictions(judged_route())) == []
    assert list(contradictions(_located(first=4, last=12)(judged_route()))) == []


def _other_fibre(content: PackageContent) -> PackageContent:
    fibres: list[Any] = list(content.fibres)
    fibres[2] = {**fibres[2], "findings": [{**fibres[2]["findings"][0], "value": "0.0001"}, *fibres[2]["findings"][1:]]}
    return replace(content, fibres=fibres)


def _other_counts(content: PackageContent) -> PackageContent:
    [(first, came_to), *rest] = content.verdict["segments"].items()
    counts = {**came_to["counts"], "conforming": came_to["counts"]["conforming"] + 1}
    return with_verdict(content, segments=dict([(first, {**came_to, "counts": counts}), *rest]))


def _other_segments(content: PackageContent) -> PackageContent:
    return with_verdict(content, segments={**content.verdict["segments"], "X": {"outcome": "conforming", "counts": {}}})


def _fibres_out_of_order(content: PackageContent) -> PackageContent:
    fibres = list(content.fibres)[::-1]
    return replace(with_verdict(content, fibres=[digest_of(one) for one in fibres]), fibres=fibres)


def _located(*, first: int, last: int, site: str = "C1") -> Callable[[PackageContent], PackageContent]:
    """Return what adds a spot to one of fibre 3."""
    groups = [make_spots((3, 3), C1=(998, 5, 1)), make_spots((first, last), **{site: (998, 5, 1)})]
    return lambda one: with_verdict(one, spots=groups)


CHANGES: dict[str, tuple[Callable[[PackageContent], PackageContent], str]] = {
    "a figure": (_other_fibre, "The findings of 1 fibre, first of 3, have another digest"),
    "the verdict": (
        lambda one: replace(one, verdict={**one.verdict, "engine": "0"}),
        "The digest of the attached verdict",
    ),
    "the verdict's digest": (lambda one: replace(one, verdict_digest="0" * 64), "The digest of the attached verdict"),
    "the design's digest": (lambda one: replace(one, design_sha256="0" * 64), "The digest of the attached design"),
    "the design in the verdict": (
        lambda one: with_verdict(one, design_sha256="0" * 64),
        "The digest of the attached design",
    ),
    "the criteria": (
        lambda one: replace(one, criteria=one.criteria.model_copy(update={"title": "Others"})),
        "The digest of the attached criteria",
    ),
    "a fibre left out": (lambda one: replace(one, fibres=one.fibres[1:]), "The route has 12 fibres, and not each"),
    "the fibres' order": (_fibres_out_of_order, "The route has 12 fibres, and not each"),
    "the dark": (lambda one: with_verdict(one, tolerated_dark=[2]), "The verdict tolerates other dark fibres"),
    "a site that is none": (_located(first=4, last=12, site="C9"), "The verdict locates sites or fibres"),
    "a fibre beyond the last": (_located(first=4, last=13), "The verdict locates sites or fibres"),
    "a fibre before the first": (_located(first=0, last=2), "The verdict locates sites or fibres"),
    "a fibre of two groups": (_located(first=1, last=3), "The verdict locates sites or fibres"),
    "the counts": (_other_counts, "Segment "),
    "the segments": (_other_segments, "The verdict is about other segments"),
}


@pytest.mark.parametrize("case", CHANGES)
def test_what_one_part_of_the_data_says_and_another_does_not_is_named(case: str) -> None:
    change, sentence = CHANGES[case]
    found = list(contradictions(change(judged_route())))
    assert found
    assert found[0].startswith(sentence), found
