"""The trees of a PDF that readers walk: pages, fields of forms, names of attachments. Each ends, and soon."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from worker.signing.foreign.objects import Objects, Places
from worker.signing.foreign.sections import Section
from worker.signing.foreign.values import ExcessError, Reference

_MAX_DEPTH = 32
# A route of 1,728 fibres, the largest there is, takes some 5,000.
MOST_PAGES = 20_000
# A package has four places for signatures, and one for each time stamp over the document.
MOST_FIELDS = 128
MOST_NAMES = 256


@dataclass(frozen=True, kw_only=True)
class Revision:
    """A file as it stands after one of its revisions."""

    places: Places
    root: Any

    @classmethod
    def all_of(cls, sections: list[Section]) -> Iterator[tuple[Section, "Revision"]]:
        """Give each section with the file as it stood then, the oldest first."""
        places: dict[int, Any] = {}
        root: Any = None
        for section in sections:
            places = {**places, **section.places}
            root = section.trailer.get("/Root", root)
            yield section, cls(places=places, root=root)


def check_trees(objects: Objects, revision: Revision) -> None:
    """Walk the trees of a revision as readers do."""
    places = revision.places
    root = _dictionary(objects, revision.root, places)
    _walk(objects, places, root.get("/Pages"), most=MOST_PAGES, what="pages")
    form = _dictionary(objects, root.get("/AcroForm"), places)
    fields = objects.resolved(form.get("/Fields"), places)
    _walk(objects, places, {"/Kids": fields}, most=MOST_FIELDS, what="fields")
    names = _dictionary(objects, root.get("/Names"), places)
    _walk(
        objects,
        places,
        names.get("/EmbeddedFiles"),
        most=MOST_NAMES,
        what="attachment names",
        weigh=_pairs(objects, places),
    )
    _check_metadata(objects, root.get("/Metadata"), places)


def _dictionary(objects: Objects, value: Any, places: Places) -> Mapping[str, Any]:
    found = objects.resolved(value, places)
    return found if isinstance(found, dict) else {}


def _check_metadata(objects: Objects, value: Any, places: Places) -> None:
    place = places.get(value.number) if isinstance(value, Reference) else None
    if isinstance(place, int) and objects.at(place).stream_at is not None:
        objects.check_metadata(objects.at(place))


def _one(_: Mapping[str, Any]) -> int:
    return 1


def _pairs(objects: Objects, places: Places) -> Callable[[Mapping[str, Any]], int]:
    def weigh(node: Mapping[str, Any]) -> int:
        pairs = objects.resolved(node.get("/Names"), places)
        return 1 + (len(pairs) // 2 if isinstance(pairs, list) else 0)

    return weigh


def _walk(
    objects: Objects,
    places: Places,
    root: Any,
    *,
    most: int,
    what: str,
    weigh: Callable[[Mapping[str, Any]], int] = _one,
) -> None:
    seen: set[int] = set()
    waiting: list[tuple[Any, int]] = [(root, 0)]
    weight = 0
    while waiting:
        node, depth = waiting.pop()
        if isinstance(node, Reference):
            if node.number in seen:
                raise ExcessError(f"has a tree of {what} that leads back into itself")
            seen.add(node.number)
        about = _dictionary(objects, node, places)
        weight += weigh(about)
        kids = objects.resolved(about.get("/Kids"), places)
        children = kids if isinstance(kids, list) else []
        if weight + len(waiting) + len(children) > most + 2:
            raise ExcessError(f"has more than {most:,} {what}")
        if children and depth == _MAX_DEPTH:
            raise ExcessError(f"has a tree of {what} deeper than {_MAX_DEPTH}")
        waiting += [(child, depth + 1) for child in children]
