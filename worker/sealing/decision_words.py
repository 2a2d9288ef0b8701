"""A recorded decision in words: what the seal's reason and its stamp say."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from service.vocabulary.people import PrintedPerson
from service.vocabulary.signatures import SignedBy
from worker.package.phrases import count_text, numbers_text, time_text
from worker.signing.fields import OWN_KEY_FOLLOWS
from worker.signing.make.stamp import StampLine

# A run of so many segments in the package's order is written as a range.
_SHORTEST_RUN = 3
# Of a reason that finds no room beside everything else.
_REASON_SHOWN = 1200
_FOLLOWS = f"{OWN_KEY_FOLLOWS} It belongs into the frame below, and is awaited until the file has it."
_FOLLOWS_NOT = "none follows: the engineer chose this seal alone"
_IN_DOCUMENT = "in the recorded decision, which the service gives with the package"


@dataclass(frozen=True, kw_only=True)
class SpokenDecision:
    """A decision as it was recorded, on which segments in which order, by whom and for whom.

    `words` is its document; `engineer` is `None` where the clock decided.
    """

    words: Mapping[str, Any]
    sha256: str
    decided_at: datetime
    segments: Sequence[str]
    concessions_asked: int
    engineer: PrintedPerson | None
    owner: str

    def with_word(self, word: str) -> list[str]:
        """Return the segments with a word, in the package's order."""
        return [segment for segment in self.segments if self.words["segments"].get(segment) == word]

    @property
    def is_signed_after(self) -> bool:
        """Whether the engineer signs the sealed file with a key of their own."""
        return bool(self.words["signature"] == SignedBy.OWN_KEY.value)


@dataclass(frozen=True, kw_only=True)
class Declared:
    """The reason of the seal, and its stamp: whole, then in shorter versions for where that finds no room."""

    reason: str
    stamps: tuple[Sequence[StampLine], ...]


def declare(decision: SpokenDecision) -> Declared:
    """Put a decision into words."""
    sealed = f"Service's seal over the recorded decision, SHA-256 {decision.sha256}. {_sentence(decision)}"
    return Declared(
        reason=f"{sealed} {OWN_KEY_FOLLOWS}" if decision.is_signed_after else sealed,
        stamps=(
            tuple(_lines(decision, names_all=True, reason_shown=None)),
            tuple(_lines(decision, names_all=False, reason_shown=None)),
            tuple(_lines(decision, names_all=False, reason_shown=_REASON_SHOWN)),
        ),
    )


def segments_text(chosen: Collection[str], *, order: Sequence[str]) -> str:
    """Return segments in the package's order, those that follow each other there as ranges."""
    places = [place for place, segment in enumerate(order) if segment in chosen]
    runs = [[place for _, place in run] for _, run in groupby(enumerate(places), key=lambda one: one[1] - one[0])]
    named = ", ".join(_run_text([order[place] for place in run]) for run in runs)
    return f"all {len(order)} segments, {named}" if len(places) == len(order) >= _SHORTEST_RUN else named


def _run_text(run: Sequence[str]) -> str:
    return f"{run[0]} to {run[-1]}" if len(run) >= _SHORTEST_RUN else ", ".join(run)


def _sentence(decision: SpokenDecision) -> str:
    accepted, refused = (
        count_text(len(decision.with_word(word)), one="segment", many="segments") for word in ("accepted", "refused")
    )
    at = time_text(decision.decided_at)
    days = decision.words.get("deemed_after_days")
    if days is not None:
        return (
            f"By the criteria {accepted} of this package came to be deemed accepted for {decision.owner} on {at}, "
            f"latent defects excepted: nobody decided or gave notice of a defect within {days} days of issue, and this "
            "is nobody's word."
        )
    acts = []
    if decision.with_word("accepted"):
        acts.append(f"accepts {accepted} of this package, latent defects excepted")
    if decision.with_word("refused"):
        acts.append(f"refuses {refused}" if acts else f"refuses {refused} of this package")
    by = "the holder of the engineer's token" if decision.engineer is None else str(decision.engineer)
    return f"On {at} {by}, for {decision.owner}, {', and '.join(acts)}."


def _lines(decision: SpokenDecision, *, names_all: bool, reason_shown: int | None) -> Iterator[StampLine]:
    yield _sentence(decision)
    for word, label, excepted in (("accepted", "Accepted", "; latent defects excepted"), ("refused", "Refused", "")):
        chosen = decision.with_word(word)
        if chosen:
            named = segments_text(chosen, order=decision.segments)
            counted = f"{count_text(len(chosen), one='segment', many='segments')}, named {_IN_DOCUMENT}"
            yield label, f"{named if names_all else counted}{excepted}"
    yield _reason_line(decision, shown=reason_shown)
    if decision.concessions_asked:
        yield "Concessions", _concessions_text(decision, names_all=names_all)
    yield (
        "Sealed",
        f"by the service over the recorded decision, SHA-256 {decision.sha256}; this seal is no person's signature",
    )
    if decision.words.get("deemed_after_days") is None:
        yield "Own signature", _FOLLOWS if decision.is_signed_after else _FOLLOWS_NOT


def _reason_line(decision: SpokenDecision, *, shown: int | None) -> StampLine:
    label = "Reason given" if decision.with_word("refused") else "Reservations"
    reason = decision.words.get("reason")
    if reason is None:
        return label, "none stated"
    if shown is None or len(reason) <= shown:
        return label, reason
    return label, f"{reason[:shown].rstrip()}… ({len(reason)} characters in all, {_IN_DOCUMENT})"


def _concessions_text(decision: SpokenDecision, *, names_all: bool) -> str:
    granted = sorted(decision.words.get("concessions_granted", ()))
    asked = f"of {decision.concessions_asked} asked for"
    if not granted:
        return f"none granted {asked}"
    if names_all:
        return f"granted: {numbers_text(granted)}, {asked}"
    return f"{len(granted)} granted {asked}, numbered {_IN_DOCUMENT}"
