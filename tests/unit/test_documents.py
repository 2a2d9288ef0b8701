"""What README, its chapters and DEVELOPERS.md name is there."""

import re
from datetime import date
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
CHAPTERS = [ROOT / name for name in ("service/CRITERIA.md", "service/OPERATION.md", "worker/SIGNATURES.md")]
DOCUMENTS = [README, ROOT / "DEVELOPERS.md", *CHAPTERS]


def links_in(document: Path) -> list[str]:
    return re.findall(r"\]\(([^)]+)\)", document.read_text())


def anchors_in(document: Path) -> set[str]:
    heads = re.findall(r"^#+ (.+)$", document.read_text(), flags=re.MULTILINE)
    return {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}


def test_the_readme_is_short_and_leads_to_every_chapter() -> None:
    assert len(README.read_text().splitlines()) < 150
    led_to = {(ROOT / link.split("#")[0]).resolve() for link in links_in(README)}
    assert led_to >= {*DOCUMENTS, ROOT / "LICENSE"} - {README}


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_every_file_and_heading_that_is_linked_exists(document: Path) -> None:
    for link in links_in(document):
        name, _, anchor = link.partition("#")
        target = document.parent / name if name else document
        assert target.exists(), link
        assert not anchor or anchor in anchors_in(target), link


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_every_make_target_that_is_named_exists(document: Path) -> None:
    targets = set(re.findall(r"^([a-z_]+):", (ROOT / "Makefile").read_text(), flags=re.MULTILINE))
    named = set(re.findall(r"(?:`|^)make ([a-z_]+)", document.read_text(), flags=re.MULTILINE))
    assert named <= targets, named - targets


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_every_path_and_module_that_is_named_exists(document: Path) -> None:
    """A path stands whole; single names after it, with commas between, are its neighbours."""
    named = []
    for path, neighbours in re.findall(
        r"`((?:service|worker|tests|openapi_examples)/[\w/.-]+)`((?:,\s+`\w+`)*)", _before_changelog(document)
    ):
        named += [Path(path), *(Path(path).parent / name for name in re.findall(r"\w+", neighbours))]
    missing = [path for path in named if not (ROOT / path).exists() and not (ROOT / f"{path}.py").exists()]
    assert missing == []
    assert len(named) > 150 or document.name != "DEVELOPERS.md"


def test_every_name_in_the_developers_document_is_a_word_of_the_code() -> None:
    named = set(re.findall(r"`([a-z_]{2,}|[A-Z_]{2,})`", _before_changelog(ROOT / "DEVELOPERS.md")))
    read = [ROOT / "pyproject.toml", ROOT / "docker-compose.yml", ROOT / "Makefile"]
    read += [path for folder in ("service", "worker", "tests") for path in (ROOT / folder).rglob("*.py")]
    # This file names nothing of the code.
    words = {word for path in read if path != Path(__file__) for word in re.findall(r"\w+", path.read_text())}
    places = {name for path in read for name in (path.stem, path.parent.name)}
    assert len(named) > 40
    assert named - words - places == set()


def test_every_decision_has_its_number_and_its_day() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    decisions = text.split("\n## Decisions\n")[1].split("\n## ")[0]
    found = re.findall(r"^(\d+)\. (.{10})(, anew .{10})?\. \*\*", decisions, flags=re.MULTILINE)
    assert [int(number) for number, _, _ in found] == list(range(1, len(found) + 1))
    days = [date.fromisoformat(day) for _, day, _ in found]
    assert days == sorted(days)
    assert len(found) == len(re.findall(r"^\d+\. ", decisions, flags=re.MULTILINE)) > 60


def _before_changelog(document: Path) -> str:
    return document.read_text().split("\n## Changelog\n")[0]
