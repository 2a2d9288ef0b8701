"""Where criteria hold, in words: at which joints, and in which spans."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.selection import OfJoints, OfSections, OfSplices, Where
from service.vocabulary.design.words import Splicing
from worker.package.wording.values import texts_of

_PLACES = {
    Where.LINE_CLOSURES: "in closures along the line",
    Where.TERMINAL_SPLICES: "at terminal splices",
    Where.TERMINALS: "at terminals",
    Where.PANELS: "in patch panels",
    Where.CABLE: "along the cable, on no joint",
}
_SPLICED = {Splicing.SINGLE: "fused one by one", Splicing.RIBBON: "fused by ribbons"}


def where_text(criterion: Criterion) -> str:
    """Return in which spans a criterion applies, and to which joints, where it does not apply to all."""
    texts = [*_joints_texts(criterion), *_spans_texts(criterion)]
    return f"; {', '.join(texts)}" if texts else ""


def _joints_texts(criterion: Criterion) -> Iterator[str]:
    if isinstance(criterion, OfJoints) and criterion.at is not None:
        at = criterion.at
        yield f"at {', '.join(at)}" if isinstance(at, tuple) else _PLACES[at]
    if isinstance(criterion, OfSections) and criterion.at is not None:
        yield f"in {', '.join(criterion.at)}"
    if isinstance(criterion, OfSplices):
        if criterion.splicing is not None:
            yield _SPLICED[criterion.splicing]
        if criterion.joining is not None:
            yield f"joining {' with '.join(criterion.joining)}"


def _spans_texts(criterion: Criterion) -> Sequence[str]:
    if criterion.applies_when is None:
        return ()
    bounds, texts = texts_of(criterion.applies_when), []
    if "least_span_m" in bounds:
        texts.append(f"in spans of at least {bounds['least_span_m']} m")
    if "most_span_m" in bounds:
        texts.append(f"in spans of at most {bounds['most_span_m']} m")
    if criterion.applies_when.fibre_types:
        texts.append(f"on fibre of type {' or '.join(criterion.applies_when.fibre_types)}")
    return texts
