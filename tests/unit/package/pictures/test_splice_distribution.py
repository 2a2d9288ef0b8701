"""The distribution of splice losses: every finding counted once, and drawn where its loss is."""

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FibreDocument, FindingDocument
from tests.factories import splice_criterion
from tests.package_factories import make_content
from tests.package_findings import make_joint_finding
from tests.package_reading import assert_tidy, pictures_of, text_boxes, texts_of
from tests.unit.package.judged import judged_content
from worker.package.data.attachments import attachments
from worker.package.data.content import PackageContent
from worker.package.data.findings import read_finding
from worker.package.fonts.text_style import ACCENT, INK, WARM, WHITE
from worker.package.pictures.picture import Area, Picture, Stroke
from worker.package.pictures.splice_distribution import Distribution, Line, distributions
from worker.package.sections.distribution import DISTRIBUTION_TITLE

FOOT_Y = 134.0


def test_the_counts_of_each_criterion_sum_up_to_its_findings_in_the_attached_data() -> None:
    for content in (make_content(fibre_count=24, closure_count=9), judged_content()):
        held = Counter(finding["criterion"] for finding in _attached_splices(content))
        counted = {one.criterion.code: one for one in _distributions(content)}
        assert held == {code: one.findings for code, one in counted.items()}
        for one in counted.values():
            assert sum(one.bins(one.known).values()) == len(one.known)
            assert sum(one.bins(one.at_most).values()) == len(one.at_most)


def test_the_bars_are_as_high_as_the_attached_findings_say() -> None:
    content = make_content(fibre_count=24, closure_count=9)
    known = [Decimal(f["value"]) for f in _attached_splices(content) if f["criterion"] == "SPL-1310" and "value" in f]
    at_most = [Decimal(f["high"]) for f in _attached_splices(content) if f["criterion"] == "SPL-1310" and "high" in f]
    assert known
    assert at_most
    picture = pictures_of(content, DISTRIBUTION_TITLE)[0]
    [limit_x] = _limit_xs(picture)
    to_db = _axis(picture)
    bars = [mark for mark in picture.marks if isinstance(mark, Area)]
    most = max(_most_in_steps(known, at_most, Decimal("0.005")))
    full_height = _plot_height(picture, most)
    counted = 0
    for bar in bars:
        (left, top), (right, _), (_, bottom), _ = bar.points
        low, high = to_db(left - 0.3), to_db(right + 0.3)
        own = at_most if bar.colour == WHITE else known
        count = sum(low + 1e-6 < float(loss) <= high + 1e-6 for loss in own)
        counted += count
        assert bottom - top == pytest.approx(max(count / most * full_height, 2.4), abs=1e-6)
        assert bar.colour in {WHITE, ACCENT if right < limit_x else WARM}
    assert counted == len(known) + len(at_most)


def test_a_loss_equal_to_the_limit_lies_left_of_it_and_one_step_more_right_of_it() -> None:
    [one] = _of_losses("0.1000", "0.1005")
    assert sorted(one.bins(one.known)) == [0, 1]


def test_what_is_undetermined_is_counted_in_words_and_never_drawn_as_zero() -> None:
    [one] = _of_losses("0.0400", None, None)
    assert (len(one.known), one.undetermined) == (1, 2)
    content = _content_of_losses("0.0400", None, None)
    [picture] = pictures_of(content, DISTRIBUTION_TITLE)
    assert "2 not drawn: undetermined" in _words(picture)
    assert sum(isinstance(mark, Area) for mark in picture.marks) == 1


def test_a_splice_seen_only_with_its_connection_is_not_drawn_as_a_splice() -> None:
    content = judged_content()
    findings = [f for f in _attached_splices(content) if f["criterion"] == "SPLICE-1550"]
    at_ends = [f for f in findings if f["site"] in {"A", "B"} and f["outcome"] != "undetermined"]
    one = next(one for one in _distributions(content) if one.criterion.code == "SPLICE-1550")
    assert at_ends
    assert one.with_connection == len(at_ends)
    assert not {f["value"] for f in at_ends} & {f"{loss / 10_000:.4f}" for loss in one.known}


def test_a_connection_that_keeps_the_splices_own_limit_is_still_no_splice() -> None:
    content = _content_of_losses("0.0400", "0.0900")
    [first, second] = content.fibres
    at_terminal: FindingDocument = {**second["findings"][0], "site": "T-A"}
    [one] = _distributions(replace(content, fibres=[first, {**second, "findings": [at_terminal]}]))
    assert (one.known, one.with_connection) == ([400], 1)


def test_a_few_losses_far_away_do_not_squeeze_all_others_and_are_told() -> None:
    content = _content_of_losses("0.0400", "0.0500", "12.5000", "-3.0000")
    [picture] = pictures_of(content, DISTRIBUTION_TITLE)
    assert "1 above 0.3000 dB, up to 12.5000: all in the last bar" in _words(picture)
    assert "1 below -0.1000 dB, down to -3.0000: all in the first bar" in _words(picture)
    [one] = _distributions(content)
    assert sum(one.bins(one.known).values()) == 4
    assert one.step == 100


def test_all_beyond_an_end_of_the_axis_share_one_bar_wherever_the_end_cuts_a_step() -> None:
    [one] = _of_losses("0.0400", "0.3850", "0.3860", "0.5000")
    one = replace(one, lines=[*one.lines, Line(label="one-way action", text="0.350", fixed=3500)])
    assert (one.reach[1], one.step) == (3850, 100)
    counts = one.bins(one.known)
    assert counts[max(counts)] == sum(loss > 3850 for loss in one.known) == 2


@pytest.mark.parametrize(("grain", "step"), [("0.0005", 50), ("0.0050", 50), ("0.0100", 100)])
def test_bins_are_multiples_of_what_the_losses_are_multiples_of(grain: str, step: int) -> None:
    [one] = _of_losses(*(f"{n * Decimal(grain):.4f}" for n in range(1, int(Decimal("0.2") / Decimal(grain)))))
    assert one.step == step
    # Else full bins would stand between empty ones.
    assert len(set(one.bins(one.known).values())) <= 2


def test_the_limit_and_all_that_is_agreed_beside_it_are_drawn_and_labelled() -> None:
    criterion = splice_criterion(code="SPL-1550", fallback={"attempts": 3, "limit_db": 0.2})
    [picture] = pictures_of(_content_of_losses("0.0400", criterion=criterion), DISTRIBUTION_TITLE)
    lines = {"limit 0.100", "after 3 attempts 0.200", "one-way action 0.300", "estimate action 0.050"}
    assert set(texts_of(picture)) >= lines
    to_db = _axis(picture)
    drawn = [m for m in picture.marks if isinstance(m, Stroke) and m.colour == INK]
    assert sorted(to_db(mark.points[-1][0]) for mark in drawn) == pytest.approx([0.05, 0.1, 0.2, 0.3])
    assert [to_db(m.points[-1][0]) for m in drawn if not m.is_dashed] == pytest.approx([0.1])
    assert_tidy(picture)


def test_the_mean_is_the_exact_one_rounded_once() -> None:
    [picture] = pictures_of(_content_of_losses("0.0001", "0.0002", "0.0002"), DISTRIBUTION_TITLE)
    assert "3 drawn full, their mean 0.0002 dB" in _words(picture)
    [picture] = pictures_of(_content_of_losses("0.0001", "0.0002"), DISTRIBUTION_TITLE)
    # 0.00015 lies half-way: to the even neighbour.
    assert "2 drawn full, their mean 0.0002 dB" in _words(picture)


@pytest.mark.parametrize(
    "losses", [(None,), ("0.0000",), ("0.1000",) * 3, tuple(f"{n / 1000:.4f}" for n in range(-50, 400))]
)
def test_no_label_lies_over_another_whatever_the_losses(losses: tuple[str | None, ...]) -> None:
    for content in (_content_of_losses(*losses), _content_of_losses(*losses, criterion=_criterion(limit_db=0.0))):
        [picture] = pictures_of(content, DISTRIBUTION_TITLE)
        assert_tidy(picture)


def _criterion(**changes: Any) -> dict[str, Any]:
    base = {"code": "SPL-1550", "quantity": "splice_loss", "wavelength_nm": 1550, "limit_db": 0.1}
    return {**base, **changes}


def _content_of_losses(*losses: str | None, criterion: Mapping[str, Any] | None = None) -> PackageContent:
    """Return the content with so many fibres, one splice each; one without a loss is undetermined."""
    criteria = Criteria.model_validate({"title": "Agreed", "criteria": [criterion or _criterion()]})
    limit = criteria.model_dump()["criteria"][0]["limit_db"]
    fibres: list[FibreDocument] = [
        {"form": "fibre.1", "fibre": n, "findings": [_finding(n, loss, limit)], "work": [], "unexpected_events": []}
        for n, loss in enumerate(losses, start=1)
    ]
    return replace(make_content(fibre_count=len(losses), closure_count=1), criteria=criteria, fibres=fibres)


def _finding(fibre: int, loss: str | None, limit: str) -> FindingDocument:
    finding = make_joint_finding(fibre, site="C01", wavelength_nm=1550, step=1)
    finding["limit"] = limit
    if loss is None:
        del finding["value"], finding["margin"]
        return {**finding, "outcome": "undetermined"}
    outcome = "conforming" if Decimal(loss) <= Decimal(limit) else "nonconforming"
    return {**finding, "value": loss, "outcome": outcome, "margin": str(Decimal(limit) - Decimal(loss))}


def _of_losses(*losses: str | None) -> list[Distribution]:
    return _distributions(_content_of_losses(*losses))


def _distributions(content: PackageContent) -> list[Distribution]:
    found = [read_finding(one) for one in content.all_findings() if one["quantity"] == "splice_loss"]
    criteria = [one for one in content.criteria.criteria if one.quantity == "splice_loss"]
    return list(distributions(criteria, found, Layout(content.design)))  # type: ignore[arg-type]


def _attached_splices(content: PackageContent) -> list[FindingDocument]:
    attached = json.loads(attachments(content)["findings.json"])
    return [one for fibre in attached["fibres"] for one in fibre["findings"] if one["quantity"] == "splice_loss"]


def _words(picture: Picture) -> str:
    return " ".join(text for left, _, _, _, text in text_boxes(picture) if left >= 350)


def _limit_xs(picture: Picture) -> list[float]:
    return [
        mark.points[-1][0]
        for mark in picture.marks
        if isinstance(mark, Stroke) and mark.colour == INK and not mark.is_dashed
    ]


def _axis(picture: Picture) -> Any:
    """Return how a place on the sheet is read off the axis: by two of its labelled ticks."""
    labels = [(left, right, text) for left, top, right, _, text in text_boxes(picture) if top > FOOT_Y and left < 345]
    places = [((left + right) / 2, float(text.removesuffix(" dB"))) for left, right, text in labels]
    (x0, db0), (x1, db1) = places[0], places[-1]
    return lambda x: db0 + (x - x0) / (x1 - x0) * (db1 - db0)


def _plot_height(picture: Picture, most: int) -> float:
    """Return how high the most would be, by the highest labelled line of the counts."""
    labels = [(bottom, text) for left, _, right, bottom, text in text_boxes(picture) if right < 26 and text.isdigit()]
    counts = sorted((int(text), bottom) for bottom, text in labels)
    (zero, foot), (count, head) = counts[0], counts[-1]
    assert zero == 0
    return (foot - head) / count * most


def _most_in_steps(known: list[Decimal], at_most: list[Decimal], step: Decimal) -> list[int]:
    counts = Counter(-((Decimal("0.1") - loss) // step) for loss in [*known, *at_most])
    return list(counts.values())
