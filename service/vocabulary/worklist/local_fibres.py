"""Fibres by tube and colour, as a crew sees them in a cable: "tube 1 (blue), fibre 7 (red)"."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial

from service.vocabulary.design.colours import colour_of
from service.vocabulary.design.design import Section
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FibreRangeDocument

# So many tubes are named; a longer order says how many more there are, and its items name each fibre.
_MOST_TUBES = 6


class LocalNames:
    """Names fibres of one layout at its sites; what was named once is kept, for sections in a row often agree."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._named: dict[tuple[int, int, str, tuple[int, ...]], str] = {}

    def at(self, site: str, fibres: tuple[int, ...]) -> str:
        """Name route fibres at a site, on both sides where they have other places there."""
        index, sections = self._layout.site_index[site], self._layout.design.sections
        before = self._in_section(index - 1, fibres) if index > 0 else None
        after = self._in_section(index, fibres) if index < len(sections) else None
        if before is None or after is None or before == after:
            return after or before or ""
        return f"towards A {before}; towards B {after}"

    def _in_section(self, section_index: int, fibres: tuple[int, ...]) -> str:
        section, numbers = self._layout.design.sections[section_index], self._layout.cable_numbers[section_index]
        key = id(numbers), section.fibres_per_tube, section.colour_scheme, fibres
        if key not in self._named:
            self._named[key] = _name(section, [numbers[fibre - 1] for fibre in fibres])
        return self._named[key]


def ranges_of(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """Return rising numbers as ranges, both ends included."""
    ranges: list[list[int]] = []
    for number in numbers:
        if ranges and number == ranges[-1][1] + 1:
            ranges[-1][1] = number
        else:
            ranges.append([number, number])
    return [(first, last) for first, last in ranges]


def write_ranges(ranges: Iterable[tuple[int, int]]) -> list[FibreRangeDocument]:
    """Write ranges of fibres."""
    return [{"first": first, "last": last} for first, last in ranges]


def say_ranges(ranges: Sequence[tuple[int, int]]) -> str:
    """Say fibres by number: "fibres 1 to 6, 9 and 11"."""
    is_one = len(ranges) == 1 and ranges[0][0] == ranges[0][1]
    words = [word for first, last in ranges for word in _range_words(first, last, str)]
    return f"{'fibre' if is_one else 'fibres'} {listed(words)}"


def listed(words: Sequence[str]) -> str:
    """Join words as a sentence does."""
    return " and ".join([*([", ".join(words[:-1])] if len(words) > 1 else []), *words[-1:]])


def _range_words(first: int, last: int, say: Callable[[int], str]) -> list[str]:
    """Say a range, two neighbours each by itself."""
    return [f"{say(first)} to {say(last)}"] if last > first + 1 else [say(one) for one in range(first, last + 1)]


def _name(section: Section, cable_fibres: Sequence[int]) -> str:
    by_tube: dict[int, list[int]] = {}
    for number in sorted(cable_fibres):
        tube, fibre = divmod(number - 1, section.fibres_per_tube)
        by_tube.setdefault(tube + 1, []).append(fibre + 1)
    full = [tube for tube, own in by_tube.items() if len(own) == section.fibres_per_tube]
    parts = [*_full_tubes(section, full), *_parts_of_tubes(section, by_tube, set(full))]
    in_order = [part for _, part in sorted(parts)]
    if len(in_order) <= _MOST_TUBES:
        return "; ".join(in_order)
    return f"{'; '.join(in_order[: _MOST_TUBES - 1])}; and in {len(in_order) - _MOST_TUBES + 1} more tubes"


def _full_tubes(section: Section, full: Sequence[int]) -> Iterator[tuple[int, str]]:
    for first, last in ranges_of(full):
        if first == last:
            fibres = _fibres_text(section, [(1, section.fibres_per_tube)])
            yield first, f"tube {_coloured(section, first)}, {fibres}"
        else:
            between = "and" if last == first + 1 else "to"
            yield first, f"tubes {_coloured(section, first)} {between} {_coloured(section, last)}, every fibre"


def _parts_of_tubes(section: Section, by_tube: dict[int, list[int]], full: set[int]) -> Iterator[tuple[int, str]]:
    for tube, own in by_tube.items():
        if tube not in full:
            yield tube, f"tube {_coloured(section, tube)}, {_fibres_text(section, ranges_of(own))}"


def _fibres_text(section: Section, ranges: Sequence[tuple[int, int]]) -> str:
    coloured = partial(_coloured, section)
    words = [word for first, last in ranges for word in _range_words(first, last, coloured)]
    is_one = len(ranges) == 1 and ranges[0][0] == ranges[0][1]
    return f"{'fibre' if is_one else 'fibres'} {listed(words)}"


def _coloured(section: Section, number: int) -> str:
    return f"{number} ({colour_of(number, scheme=section.colour_scheme)})"
