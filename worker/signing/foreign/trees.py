"""The trees of a PDF that readers walk: pages, fields of forms, names of attachments. Each ends, and soon."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from worker.signing.foreign.objects import Objects, Places
from worker.signing.pdf_values import ExcessError, Reference

_MAX_DEPTH = 32
# A route of 1,728 fibres, the largest there is, takes some 5,000.
MOST_PAGES = 20_000
# A package has four places for signatures, and one for each time stamp over the document.
MOST_FIELDS = 128
MOST_NAMES = 256


@dataclass(frozen=True)
class Revision:
    """A file as it stood after one of its revisions, which every signature that covers it is checked against."""

    objects: Objects
    places: Places
    root: Any

    def check(self) -> None:
        """Walk the trees as readers do."""
        root = self._dictionary(self.root)
        self._walk(root.get("/Pages"), most=MOST_PAGES, what="pages")
        fields = self._resolved(self._dictionary(root.get("/AcroForm")).get("/Fields"))
        self._walk({"/Kids": fields}, most=MOST_FIELDS, what="fields")
        names = self._dictionary(root.get("/Names")).get("/EmbeddedFiles")
        self._walk(names, most=MOST_NAMES, what="attachment names")
        metadata = root.get("/Metadata")
        place = self.places.get(metadata.number) if isinstance(metadata, Reference) else None
        if isinstance(place, int) and self.objects.at(place).stream_at is not None:
            self.objects.check_metadata(self.objects.at(place))

    def _resolved(self, value: Any) -> Any:
        return self.objects.resolved(value, self.places)

    def _dictionary(self, value: Any) -> Mapping[str, Any]:
        found = self._resolved(value)
        return found if isinstance(found, dict) else {}

    def _walk(self, root: Any, *, most: int, what: str) -> None:
        """Count the nodes of a tree, and the pairs of names that some of them hold."""
        seen: set[int] = set()
        waiting: list[tuple[Any, int]] = [(root, 0)]
        counted = 0
        while waiting:
            node, depth = waiting.pop()
            if isinstance(node, Reference):
                if node.number in seen:
                    raise ExcessError(f"has a tree of {what} that leads back into itself")
                seen.add(node.number)
            about = self._dictionary(node)
            names, kids = (self._resolved(about.get(name)) for name in ("/Names", "/Kids"))
            children = kids if isinstance(kids, list) else []
            counted += 1 + (len(names) // 2 if isinstance(names, list) else 0)
            if counted + len(waiting) + len(children) > most + 2:
                raise ExcessError(f"has more than {most:,} {what}")
            if children and depth == _MAX_DEPTH:
                raise ExcessError(f"has a tree of {what} deeper than {_MAX_DEPTH}")
            waiting += [(child, depth + 1) for child in children]
