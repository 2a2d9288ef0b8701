"""What is written in pictures, taken apart by where it stands; each reader notes which words it has read."""

import re
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from tests.printed.tables import InPicture

# The sizes of type in pictures, in points: text, names, and what stands back.
CELL, HEADING, UNIT = 6.9, 6.7, 6.3

_TICK = re.compile(r"-?\d+(\.\d+)?( dB| km| m)?")
# A site's second line stands so far under its first; a tube's lines under its name.
_SECOND_LINE_PT, _TUBE_LINES_PT = (4.0, 14.0), (2.0, 30.0)


class ReadSite(NamedTuple):
    """A site of the route to scale: its distance, and what its second line says in one or two parts."""

    id: str
    distance: str
    said: tuple[str, ...]


class Tick(NamedTuple):
    """A number at a scale, and where its middle stands; the unit is told once."""

    page: int
    x: float
    y: float
    text: str

    @property
    def number(self) -> Decimal:
        return Decimal(self.text.split()[0])

    @property
    def unit(self) -> str:
        return self.text.partition(" ")[2]


class PictureReader:
    """Reads the words of the pictures of one section under one title."""

    def __init__(self, words: Iterable[InPicture]) -> None:
        self._words = list(words)
        self.read: set[InPicture] = set()

    def matching(self, pattern: str, *, size: float | None = None) -> list[re.Match[str]]:
        """Return the words that a pattern matches as a whole."""
        found = []
        for one in self._words:
            match = re.fullmatch(pattern, one.words.text)
            if match is not None and size in {None, one.words.size}:
                found.append(match)
                self.read.add(one)
        return found

    def sites(self) -> list[ReadSite]:
        return [self._site(one) for one in self._sized(CELL) if re.fullmatch(r"\d+\.\d\d m", one.words.text)]

    def _sized(self, size: float) -> list[InPicture]:
        return [one for one in self._words if one.words.size == size]

    def _site(self, distance: InPicture) -> ReadSite:
        ids = [one for one in self._sized(HEADING) if abs(_below(distance, one)) < 2 and _same(distance, one)]
        # The label of a segment may stand at the same height, left of the route.
        named = max(ids, key=lambda one: one.words.left)
        said = [
            one
            for one in self._sized(CELL)
            if _is_under(distance, one, _SECOND_LINE_PT) and one.words.left >= named.words.left - 1
        ]
        self.read |= {distance, named, *said}
        texts = tuple(one.words.text for one in sorted(said, key=lambda one: one.words.left))
        return ReadSite(named.words.text, distance.words.text.removesuffix(" m"), texts)

    def tubes(self) -> Iterator[tuple[int, list[str]]]:
        for tube in self._sized(HEADING):
            match = re.fullmatch(r"Tube (\d+), .+", tube.words.text)
            if match is not None:
                under = [one for one in self._words if _is_under(tube, one, _TUBE_LINES_PT) and _flush(tube, one)]
                self.read |= {tube, *under}
                yield int(match[1]), [one.words.text for one in under]

    def column_from(self, pattern: str) -> str:
        """Return the words that a pattern matches with all that stand flush with them below, as running text."""
        [first] = [one for one in self._words if re.fullmatch(pattern, one.words.text)]
        column = [one for one in self._words if _flush(first, one) and one.words.top >= first.words.top]
        self.read |= {*column}
        return " ".join(one.words.text for one in sorted(column, key=lambda one: one.words.top))

    def ticks(self) -> list[Tick]:
        found = []
        for one in self._sized(UNIT):
            if _TICK.fullmatch(one.words.text):
                words = one.words
                found.append(Tick(words.page, (words.left + words.right) / 2, words.top, words.text))
                self.read.add(one)
        return found

    def unread(self, names: Sequence[str]) -> list[str]:
        """Return the words with a number that nobody has read, but for names, which may be shortened."""
        left = [one.words.text for one in self._words if one not in self.read and re.search(r"\d", one.words.text)]
        return [text for text in left if not any(_is_name(text, name) for name in names)]


def _is_name(text: str, name: str) -> bool:
    return text == name or (text.endswith("…") and name.startswith(text[:-1]))


def _below(upper: InPicture, lower: InPicture) -> float:
    return lower.words.top - upper.words.top


def _same(one: InPicture, other: InPicture) -> bool:
    return one.words.page == other.words.page


def _is_under(upper: InPicture, lower: InPicture, between: tuple[float, float]) -> bool:
    return _same(upper, lower) and between[0] < _below(upper, lower) < between[1]


def _flush(one: InPicture, other: InPicture) -> bool:
    return _same(one, other) and abs(one.words.left - other.words.left) < 0.6
