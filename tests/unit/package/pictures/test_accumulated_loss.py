"""Splice losses along the route: what is plotted and printed is the exact sum of findings that are attached."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FibreDocument, FindingDocument
from tests.package_factories import make_content, with_design, with_verdict
from tests.package_reading import assert_tidy, pictures_of, text_boxes, texts_of
from tests.unit.package.judged import TROUBLED, UNTESTED, WITHOUT_FLAW, judged_content
from worker.package.data.attachments import attachments
from worker.package.data.content import PackageContent
from worker.package.data.findings import read_finding
from worker.package.document_model import Paragraph
from worker.package.fonts.text_style import ACCENT, INK
from worker.package.pictures.accumulated_loss import TubeLoss, tube_losses
from worker.package.pictures.accumulated_picture import MOST_TUBES
from worker.package.pictures.picture import Picture, Stroke
from worker.package.sections.accumulated import ACCUMULATED_TITLE
from worker.package.view import build_view

SUMS = {"highest": "high", "lowest": "low"}


@pytest.fixture(scope="module")
def content() -> PackageContent:
    """Return a package of four tubes, the last of them not full."""
    return make_content(fibre_count=42, closure_count=9)


def test_each_plotted_sum_is_that_of_the_attached_findings(content: PackageContent) -> None:
    pictures = pictures_of(content, ACCUMULATED_TITLE)
    # Four tubes make two rows of two for each wavelength.
    for nm, rows in ((1310, pictures[:2]), (1550, pictures[2:])):
        plots = [plot for picture in rows for plot in _plots(picture)]
        assert len(plots) == 4
        expected = list(_expected_plots(content, nm))
        highest = max(at_end for plot in expected for at_end in plot["highest"])
        for plot, sums in zip(plots, expected, strict=True):
            for word in ("highest", "lowest", "mean"):
                assert plot.heights(word) == pytest.approx([float(one) for one in sums[word]], abs=float(highest) / 1e4)


def test_each_printed_sum_is_that_of_a_fibre_in_the_attached_findings(content: PackageContent) -> None:
    pictures = pictures_of(content, ACCUMULATED_TITLE)
    for nm, rows in ((1310, pictures[:2]), (1550, pictures[2:])):
        printed = [text for picture in rows for text in texts_of(picture) if text.startswith(tuple(SUMS))]
        assert len(printed) == 8
        for text in printed:
            word, said, _, _, fibre = text.replace(",", "").split()
            own = _attached(content, nm)[int(fibre)]
            assert _decimal(_running(own, SUMS[word])[-1]) == Decimal(said)


def test_splices_are_marked_where_they_lie(content: PackageContent) -> None:
    offsets = Layout(content.design).site_offsets_um
    [first, *_] = _plots(pictures_of(content, ACCUMULATED_TITLE)[0])
    left, right = first.highest.points[0][0], first.highest.points[-1][0]
    jumps = sorted({x for x, _ in first.highest.points[1:-1]})
    assert jumps == pytest.approx([left + (right - left) * um / offsets[-1] for um in offsets[1:-1]])


def test_a_fibre_with_a_splice_that_is_not_known_is_counted_and_not_summed() -> None:
    content = judged_content()
    [tube] = _tubes(content)
    assert list(tube.known) == [WITHOUT_FLAW, TROUBLED]
    assert UNTESTED in tube.fibres
    [picture] = pictures_of(content, ACCUMULATED_TITLE)
    # Twelve are designed and three were judged, one of them without a test.
    assert "fibres 1 to 12, 10 not known" in texts_of(picture)


def test_a_fibre_that_could_not_be_judged_is_not_known(content: PackageContent) -> None:
    [first, *others] = content.fibres
    failed: FibreDocument = {**first, "findings": [], "problem": "it could not be judged"}
    [picture, *_] = pictures_of(replace(content, fibres=[failed, *others]), ACCUMULATED_TITLE)
    assert "fibres 1 to 12, 1 not known" in texts_of(picture)


def test_connections_and_what_is_seen_only_with_them_are_left_out() -> None:
    content = judged_content()
    [tube] = _tubes(content)
    sites = {content.design.sites[index].id for steps in tube.known.values() for index, _, _ in steps}
    assert sites == {"C1", "C2"}


def test_bounds_too_wide_to_decide_are_bounds_all_the_same_and_every_other_doubt_is_not() -> None:
    for reason, known in (("bound_too_wide", True), ("readings_disagree", False)):
        doubted: dict[str, Any] = {"outcome": "undetermined", "reason": reason, "low": "-0.0100", "high": "0.2000"}
        [tube] = _tubes(_with_first_splice(make_content(fibre_count=2), doubted))
        assert (1 in tube.known) is known
    assert tube.known[2]


def test_a_tube_of_which_nothing_is_known_says_so_and_draws_nothing() -> None:
    content = make_content(fibre_count=1)
    unknown = _with_first_splice(content, {"outcome": "undetermined", "reason": "no_evidence"})
    pictures = pictures_of(unknown, ACCUMULATED_TITLE)
    for picture in pictures:
        assert _plots(picture) == []
        assert "fibres 1, 1 not known" in texts_of(picture)


def test_of_many_tubes_those_that_lose_most_are_drawn_and_the_others_are_put_into_words() -> None:
    content = _with_tubes_of(make_content(fibre_count=60, closure_count=3), 2)
    section = next(one for one in build_view(content).sections if one.title == ACCUMULATED_TITLE)
    notes = [block.text for block in section.blocks[1:] if isinstance(block, Paragraph)]
    drawn = [text for picture in pictures_of(content, ACCUMULATED_TITLE) for text in texts_of(picture)]
    assert sum(text.startswith("Tube ") for text in drawn) == 2 * MOST_TUBES
    for nm, note in zip((1310, 1550), notes, strict=True):
        sums = _sums_of_tubes(content, nm)
        others = sorted(sums, key=lambda one: one[1], reverse=True)[MOST_TUBES:]
        lowest, highest = min(low for low, _ in others), max(high for _, high in others)
        assert note == (
            f"Of 30 tubes the {MOST_TUBES} with the highest sums are drawn. Those of the other {30 - MOST_TUBES} lie "
            f"between {lowest:.4f} and {highest:.4f} dB at the far end."
        )


def test_a_dark_fibre_that_is_tolerated_is_in_no_tube(content: PackageContent) -> None:
    dark = with_verdict(content, tolerated_dark=[1, 2])
    [first, *_] = pictures_of(dark, ACCUMULATED_TITLE)
    assert "fibres 3 to 12" in texts_of(first)


@pytest.mark.parametrize(("fibres", "per_tube"), [(1, 12), (12, 12), (144, 12), (42, 24), (26, 1)])
def test_no_label_lies_over_another_or_outside(fibres: int, per_tube: int) -> None:
    content = _with_tubes_of(make_content(fibre_count=fibres, closure_count=3), per_tube)
    for picture in pictures_of(content, ACCUMULATED_TITLE):
        assert_tidy(picture)


class _Plot:
    """The three lines of one tube, and how their heights are read off the labelled axis."""

    def __init__(self, highest: Stroke, lowest: Stroke, mean: Stroke, picture: Picture) -> None:
        self.highest, self.lowest, self.mean = highest, lowest, mean
        labels = [(bottom, text) for left, _, right, bottom, text in text_boxes(picture) if right <= 22.1]
        places = sorted((float(text), bottom) for bottom, text in labels)
        (self._zero_db, self._foot), (self._db, self._head) = places[0], places[-1]

    def heights(self, word: str) -> list[float]:
        """Return the sums behind each splice, in dB."""
        line: Stroke = getattr(self, word)
        foot = line.points[0][1]
        per_pt = (self._db - self._zero_db) / (self._foot - self._head)
        return [(foot - y) * per_pt for _, y in line.points[2::2]]


def _plots(picture: Picture) -> list[_Plot]:
    strokes = [mark for mark in picture.marks if isinstance(mark, Stroke)]
    highest = [mark for mark in strokes if mark.colour == ACCENT and not mark.is_dashed]
    lowest = [mark for mark in strokes if mark.colour == ACCENT and mark.is_dashed]
    mean = [mark for mark in strokes if mark.colour == INK]
    return [_Plot(*lines, picture) for lines in zip(highest, lowest, mean, strict=True)]


def _attached(content: PackageContent, nm: int) -> Mapping[int, list[FindingDocument]]:
    """Return the attached findings about the splices of each fibre in route order."""
    files = attachments(content)
    order = [site["id"] for site in json.loads(files["design.json"])["sites"]]
    return {
        fibre["fibre"]: sorted(
            (f for f in fibre["findings"] if f["quantity"] == "splice_loss" and f["wavelength_nm"] == nm),
            key=lambda f: order.index(f["site"]),
        )
        for fibre in json.loads(files["findings.json"])["fibres"]
    }


def _expected_plots(content: PackageContent, nm: int) -> Iterator[dict[str, list[Fraction]]]:
    fibres, per_tube = _attached(content, nm), content.design.sections[0].fibres_per_tube
    for first in range(1, len(fibres) + 1, per_tube):
        tube = [fibres[fibre] for fibre in range(first, min(first + per_tube, len(fibres) + 1))]
        lows, highs = ([_running(own, bound) for own in tube] for bound in ("low", "high"))
        yield {
            "highest": [max(at_site) for at_site in zip(*highs, strict=True)],
            "lowest": [min(at_site) for at_site in zip(*lows, strict=True)],
            "mean": [sum(at_site) / (2 * len(tube)) for at_site in zip(*lows, *highs, strict=True)],
        }


def _running(findings: Sequence[FindingDocument], bound: str) -> list[Fraction]:
    losses = [Fraction(one.get("value") or str(one[bound])) for one in findings]  # type: ignore[literal-required]
    return [sum(losses[: count + 1], Fraction(0)) for count in range(len(losses))]


def _sums_of_tubes(content: PackageContent, nm: int) -> list[tuple[Decimal, Decimal]]:
    plots = _expected_plots(content, nm)
    return [(_decimal(plot["lowest"][-1]), _decimal(plot["highest"][-1])) for plot in plots]


def _decimal(exact: Fraction) -> Decimal:
    return Decimal(exact.numerator) / Decimal(exact.denominator)


def _tubes(content: PackageContent) -> Sequence[TubeLoss]:
    criterion = next(one for one in content.criteria.criteria if one.quantity == "splice_loss")
    found = [read_finding(one) for one in content.all_findings() if one["criterion"] == criterion.code]
    fibres = [fibre["fibre"] for fibre in content.fibres]
    return tube_losses(criterion, found, Layout(content.design), fibres=fibres, judged=fibres)  # type: ignore[arg-type]


def _with_first_splice(content: PackageContent, changes: dict[str, Any]) -> PackageContent:
    """Return the content with something else found of each splice of the first fibre."""
    [first, *others] = content.fibres
    findings: list[Any] = []
    for one in first["findings"]:
        if one["quantity"] == "splice_loss":
            bare = {name: value for name, value in one.items() if name not in {"value", "low", "high", "margin"}}
            findings.append({**bare, **changes})
        else:
            findings.append(one)
    changed: FibreDocument = {**first, "findings": findings}
    return replace(content, fibres=[changed, *others])


def _with_tubes_of(content: PackageContent, fibres: int) -> PackageContent:
    sections = [one.model_copy(update={"fibres_per_tube": fibres}) for one in content.design.sections]
    return with_design(content, sections=tuple(sections))
