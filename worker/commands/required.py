"""What a receiver requires a package to have: what is not there is missing, and not just awaited."""

from collections.abc import Collection, Iterator, Mapping
from enum import StrEnum
from types import MappingProxyType

from service.vocabulary.signatures import SignaturePlace
from worker.commands.page_comparison import PageComparison, Pages
from worker.signing.report import PackageReport


class Required(StrEnum):
    """What may be required."""

    CONTRACTOR = "contractor"
    DECISION = "decision"
    ENGINEER = "engineer"
    PAGES = "pages"


_AWAITED_FOR: Mapping[Required, frozenset[SignaturePlace]] = MappingProxyType(
    {
        Required.CONTRACTOR: frozenset({SignaturePlace.CONTRACTOR}),
        Required.DECISION: frozenset({SignaturePlace.DECISION}),
        Required.ENGINEER: frozenset({SignaturePlace.DECISION, SignaturePlace.ENGINEER}),
    }
)
_WORDS: Mapping[SignaturePlace, str] = MappingProxyType(
    {
        SignaturePlace.CONTRACTOR: "the signature of the contractor's responsible person",
        SignaturePlace.DECISION: "the decision",
        SignaturePlace.ENGINEER: "the signature of the owner's engineer",
    }
)


class RequirementUnknownError(ValueError):
    """What was required is not known."""

    def __init__(self, word: str) -> None:
        super().__init__(f"{word!r} cannot be required: {', '.join(Required)} can.")


def read_required(text: str) -> frozenset[Required]:
    """Read what is required, with commas between."""
    words = [word.strip() for word in text.split(",") if word.strip()]
    for word in words:
        if word not in {one.value for one in Required}:
            raise RequirementUnknownError(word)
    return frozenset(map(Required, words))


def missing(report: PackageReport, comparison: PageComparison, *, required: Collection[Required]) -> Iterator[str]:
    """Say what is required and not there.

    A person's word is there when nothing of it is awaited: by an own key, or by the service's seal over what was
    recorded, as that person chose.
    """
    for one in sorted(required):
        lacking = sorted(_AWAITED_FOR.get(one, frozenset()) & {*report.awaited})
        if lacking or (one in _AWAITED_FOR and not report.signatures):
            yield f"Required and missing: {', '.join(_WORDS[what] for what in lacking) or one.value}."
    if Required.PAGES in required and comparison.pages is Pages.NOT_COMPARED:
        yield "Required and missing: that the pages are compared with the attached data."
