"""What README, its chapters and DEVELOPERS.md name is there."""

import re
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
