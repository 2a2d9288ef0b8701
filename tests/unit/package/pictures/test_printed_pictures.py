"""Every number that the pictures of a package print, read back by another program, is what the attached JSON gives."""

import json
import re
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from io import BytesIO
from itertools import groupby, pairwise

import pytest
from pypdf import PdfReader

from tests.judged_routes import demo_content, large_content
from tests.package_reading import draw_content
from tests.printed.attached import Attached
from tests.printed.joints import (
    distances,
    histograms,
    lines_of,
    losses,
    said_of_site,
    summed_criteria,
    tubes,
)
from tests.printed.pictures import PictureReader, Tick
from tests.printed.tables import InPicture, read_pages
from tests.printed.values import centimetres, fibre_m
from tests.unit.package.judged import judged_route
from worker.package.data.content import PackageContent

pytestmark = pytest.mark.slow

CONTENTS: dict[str, Callable[[], PackageContent]] = {
    "the demo's route": demo_content,
    "every quantity": judged_route,
    "two strips": lambda: large_content(fibres=24, closures=20),
}
ROUTE, HISTOGRAMS, SUMS = "The route to scale", "Splice losses against their limits", "Splice losses along the route"
NOTE = 7.4


class Printed:
    """The pictures of one package by section and title, beside its data."""

    def __init__(self, pdf: bytes) -> None:
        files = PdfReader(BytesIO(pdf)).attachments
        self.data = Attached({name: json.loads(contents[0]) for name, contents in files.items()})
        self.words = [one for one in read_pages(pdf).pictures if one.words.size != NOTE]

    def readers(self, section: str) -> dict[str, PictureReader]:
        own = (one for one in self.words if one.section == section)
        return {title: PictureReader(words) for title, words in groupby(own, key=lambda one: one.title)}


@pytest.fixture(scope="module", params=CONTENTS)
def printed(request: pytest.FixtureRequest) -> Printed:
    return Printed(draw_content(CONTENTS[request.param]()))


def read_all(readers: Sequence[PictureReader], data: Attached) -> int:
    """Return how many numbers were read, of which none was left over."""
    design = data.design
    names = [one[member] for kind in ("sites", "segments") for one in design[kind] for member in ("id", "name")]
    assert [text for reader in readers for text in reader.unread(names)] == []
    return sum(len(re.findall(r"\d+(?:\.\d+)?", one.words.text)) for reader in readers for one in reader.read)


def hold_even(ticks: Sequence[Tick], place: Callable[[Tick], float]) -> None:
    """Hold that numbers at a scale rise in equal steps, and stand where their steps lead."""
    steps = {after.number - before.number for before, after in pairwise(ticks)}
    assert len(steps) <= 1 and all(step > 0 for step in steps), ticks
    if len(ticks) > 1:
        apart = (place(ticks[-1]) - place(ticks[0])) / (len(ticks) - 1)
        assert [place(one) for one in ticks] == pytest.approx(
            [place(ticks[0]) + index * apart for index in range(len(ticks))], abs=0.2
        )


def hold_whole(ticks: Sequence[Tick], low: Decimal, high: Decimal) -> None:
    """Hold that the numbers at a scale are all multiples of their step from one number to another."""
    step = ticks[1].number - ticks[0].number
    assert all(one.number % step == 0 for one in ticks)
    assert low <= ticks[0].number < low + step and high - step < ticks[-1].number <= high


def by_unit(ticks: Sequence[Tick]) -> Iterator[list[Tick]]:
    """Give the scales of distances, each of which starts by telling its unit."""
    starts = [index for index, one in enumerate(ticks) if one.unit]
    yield from (list(ticks[first:end]) for first, end in pairwise([*starts, len(ticks)]))


def metres(number: Decimal, unit: str) -> Decimal:
    return number * 1000 if unit == "km" else number


def test_sites_of_the_route_to_scale_show_their_distance_and_their_worst_joint(printed: Printed) -> None:
    data, readers = printed.data, printed.readers(ROUTE)
    strips = [reader.sites() for reader in readers.values()]
    for before, after in pairwise(strips):
        assert before[-1] == after[0]
    sites = [*strips[0], *(site for strip in strips[1:] for site in strip[1:])]
    assert [(one.id, one.distance) for one in sites] == [(id_, centimetres(at)) for id_, at in distances(data)]
    for site in sites:
        said = said_of_site(data, site.id)
        if said is None:
            assert site.said == ()
        else:
            counted, worst = site.said
            assert counted[2:] == said.counted, site
            assert worst in said.worst, site
    sections = [match for reader in readers.values() for match in reader.matching(r"section (.+): (\d+\.\d\d) m")]
    designed = data.design["sections"]
    assert [(one[1], one[2]) for one in sections] == [(one["id"], centimetres(fibre_m(one))) for one in designed]
    if len(strips) > 1:
        assert list(readers) == [
            f"Strip {number} of {len(strips)}, {strip[0].id} to {strip[-1].id}"
            for number, strip in enumerate(strips, 1)
        ]
    for reader, strip in zip(readers.values(), strips, strict=True):
        [ticks] = by_unit(reader.ticks())
        hold_even(ticks, lambda one: one.y)
        scale = metres(Decimal(1), ticks[0].unit)
        hold_whole(ticks, Decimal(strip[0].distance) / scale, Decimal(strip[-1].distance) / scale)
    assert read_all([*readers.values()], data) > 30


def test_what_is_said_beside_a_histogram_is_what_the_findings_come_to(printed: Printed) -> None:
    data, readers = printed.data, printed.readers(HISTOGRAMS)
    criteria = histograms(data)
    assert [title.partition(":")[0] for title in readers] == [one["code"] for one in criteria]
    for (title, reader), criterion in zip(readers.items(), criteria, strict=True):
        match = re.fullmatch(r".+: (\d+) nm, .+, by steps of (\d+\.\d{4}) dB", title)
        assert match is not None and match[1] == str(criterion["wavelength_nm"])
        own, step = losses(data, criterion), Decimal(match[2])
        said = reader.column_from(r"\d+ findings")
        above = re.search(r"above (\d+\.\d{4}) dB", said)
        high = None if above is None else Decimal(above[1])
        assert said == own.said(high)
        lines = [
            one[0] for one in reader.matching(r"(?:limit|after \d+ attempts|(?:one-way|estimate) action) \d+\.\d+")
        ]
        assert len(lines) == len(lines_of(criterion)) and set(lines) == lines_of(criterion)
        ticks = reader.ticks()
        [foot] = {one.y for one in ticks if one.unit == "dB"}
        hold_even([one for one in ticks if one.y == foot], lambda one: one.x)
        counts = [one for one in reversed(ticks) if one.y != foot]
        hold_even(counts, lambda one: -one.y)
        assert counts[0].number == 0
        hold_tallest(counts, own.known + own.at_most, limit=Decimal(criterion["limit_db"]), step=step, high=high)
    assert read_all([*readers.values()], data) > 20


def hold_tallest(
    counts: Sequence[Tick], drawn: Sequence[Decimal], *, limit: Decimal, step: Decimal, high: Decimal | None
) -> None:
    """Hold that the counts beside a histogram go as far as its tallest bar."""
    bars: dict[Decimal | None, int] = {}
    for loss in drawn:
        # A bar holds the losses from over its left end up to its right one; what lies beyond the axis has a last one.
        bar = None if high is not None and loss > high else -((limit - loss) // step)
        bars[bar] = bars.get(bar, 0) + 1
    if len(counts) > 1:
        hold_whole(counts, Decimal(0), Decimal(max(bars.values())))


def test_what_is_said_of_each_tube_is_what_its_losses_sum_to(printed: Printed) -> None:
    data, readers = printed.data, printed.readers(SUMS)
    criteria = summed_criteria(data)
    assert list(readers) == [f"{one['code']}: {one['wavelength_nm']} nm, in dB" for one in criteria]
    length_m = distances(data)[-1][1]
    for reader, criterion in zip(readers.values(), criteria, strict=True):
        assert dict(reader.tubes()) == tubes(data, criterion)
        ticks = reader.ticks()
        level = {one.y for one in ticks if one.unit}
        plots = [*by_unit([one for one in ticks if one.y in level])]
        assert len(plots) == len(tubes(data, criterion))
        for plot in plots:
            # The first and the last are moved in where they would stand out.
            hold_even(plot[1:-1], lambda one: one.x)
            hold_whole(plot, Decimal(0), length_m / metres(Decimal(1), plot[0].unit))
        sums = [one for one in reversed(ticks) if one.y not in level]
        starts = [index for index, one in enumerate(sums) if index == 0 or one.number < sums[index - 1].number]
        for first, end in pairwise([*starts, len(sums)]):
            hold_even(sums[first:end], lambda one: -one.y)
    assert read_all([*readers.values()], data) > 20


def test_a_number_in_a_picture_that_nobody_reads_is_found(printed: Printed) -> None:
    one = printed.words[0]
    reader = PictureReader([InPicture(one.section, one.title, one.words._replace(text="0.1234 dB too many"))])
    assert reader.unread(["C1"]) == ["0.1234 dB too many"]
