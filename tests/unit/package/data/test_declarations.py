"""Each party's declaration is one sentence: by whom, with position, when, for whom, and what is declared."""

from dataclasses import replace

import pytest

from service.vocabulary.signatures import SignedBy
from tests.package_factories import make_content, with_many_segments, with_verdict
from tests.package_reading import draw_content, package_json, page_texts
from worker.package.data.content import PackageContent
from worker.package.view import build_view


def told(content: PackageContent) -> dict[str, str]:
    return {fact.label: fact.value for fact in build_view(content).cover.declared.facts}


def test_the_service_declares_what_it_made_the_package_from() -> None:
    said = told(make_content())["Service"]
    assert said.startswith(
        "The service (route-acceptance 0.0.0) declares for Larkfield Cable Works and Tidewater Communications District "
        "on 2026-03-20 15:04:09 UTC: it made this package from the design, criteria, findings and records attached"
    )
    assert "It does not say that the records are true, that the work is accepted" in said


@pytest.mark.parametrize(
    ("count", "what"), [(1, "the segment submitted is complete"), (2, "the 2 segments submitted are complete")]
)
def test_the_contractor_declares_the_segments_complete_but_for_what_is_listed(count: int, what: str) -> None:
    content = make_content()
    said = told(replace(content, segments=content.segments[:count]))["Contractor"]
    assert said.startswith(
        f"Mira Øvergaard, works manager, declares for Larkfield Cable Works on 2026-03-20 15:04:05 UTC: {what}, except "
        "as listed under “What does not conform”, “What is undetermined” and “Concessions asked for”."
    )


def test_what_the_exceptions_are_listed_under_are_sections_of_the_package() -> None:
    content = make_content()
    contents = " ".join(page_texts(draw_content(content))[2].split())
    said = told(content)["Contractor"]
    listed = [part.partition("”")[0] for part in said.split("“")[1:]]
    assert len(listed) == 3
    assert [title for title in listed if title not in contents] == []


def test_dark_fibres_are_excepted_too() -> None:
    content = with_verdict(make_content(), tolerated_dark=[2, 3])
    assert "asked for”, and but for 2 dark fibres tolerated." in told(content)["Contractor"]


@pytest.mark.parametrize(
    ("signature", "how"),
    [
        (SignedBy.SERVICE_SEAL, "stands under the service's seal; there is no signature by a key of this person's own"),
        (SignedBy.OWN_KEY, "signed with a key of this person's own on page 2: as long as the file has no such"),
    ],
)
def test_the_contractors_declaration_says_how_it_is_signed(signature: SignedBy, how: str) -> None:
    content = make_content(contractor_signature=signature)
    assert how in told(content)["Contractor"]
    assert package_json(content)["contractor_signature"] == signature.value


def test_nothing_is_said_for_the_engineer_before_the_decision() -> None:
    said = told(make_content())["Owner's engineer"]
    assert "on page 2" in said
    assert "this file holds no decision" in said


def test_a_person_whose_name_was_erased_is_the_id_without_a_position() -> None:
    content = make_content(responsible_person="p-1c9", responsible_position=None)
    assert told(content)["Contractor"].startswith("p-1c9 declares for Larkfield Cable Works on ")
    assert "responsible_position" not in package_json(content)


def test_the_attached_data_have_what_the_page_prints() -> None:
    content = with_many_segments(make_content(), count=500)
    page = " ".join(page_texts(draw_content(content))[0].split())
    said = package_json(content)["declarations"]
    assert set(said) == {"service", "contractor"}
    assert all(sentence in page for sentence in said.values())
    assert "the 500 segments submitted are complete" in said["contractor"]


def test_a_long_name_is_cut_where_one_sees_it_and_whole_in_the_data() -> None:
    name = "Aurelio Bartholomew " * 20
    content = make_content(responsible_person=name.strip())
    assert "…, works manager, declares for" in told(content)["Contractor"]
    assert package_json(content)["responsible_person"] == name.strip()
