"""Which signatures a package still waits for, from the file alone."""

from collections.abc import Collection, Iterator, Sequence
from typing import Any

import orjson
from pyhanko.pdf_utils.reader import PdfFileReader

from service.vocabulary.signatures import SignaturePlace
from worker.signing.check.parsing import attachments_of
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, FORMS, OWN_KEY_FOLLOWS, SEAL_FIELD
from worker.signing.report import SignatureReport

_ABOUT = "package.json"
_OWN_KEY = "own_key"


def form_of(fields: Collection[str]) -> int:
    """Return the newest form of package whose fields these could be."""
    return max(FORMS) if DECISION_FIELD in fields else min(FORMS)


def awaited(reader: PdfFileReader, signatures: Sequence[SignatureReport], *, form: int) -> Iterator[SignaturePlace]:
    """Give what is to come, in the order in which a package asks for it.

    In form 2 the contractor says when submitting, and the engineer when deciding, whether a key of their own follows.
    """
    reasons = {one.field: one.reason or "" for one in signatures}
    if SEAL_FIELD not in reasons:
        return
    if CONTRACTOR_FIELD not in reasons and (form == 1 or _contractor_signs(reader)):
        yield SignaturePlace.CONTRACTOR
    if form == 1:
        if ENGINEER_FIELD not in reasons:
            yield SignaturePlace.ENGINEER
    elif DECISION_FIELD not in reasons:
        yield SignaturePlace.DECISION
    elif ENGINEER_FIELD not in reasons and reasons[DECISION_FIELD].rstrip().endswith(OWN_KEY_FOLLOWS):
        yield SignaturePlace.ENGINEER


def misorder(signatures: Sequence[SignatureReport], *, form: int) -> Iterator[str]:
    """Say where a signature stands before what it is about."""
    fields = [one.field for one in signatures]
    if form == 1 or ENGINEER_FIELD not in fields:
        return
    if DECISION_FIELD not in fields[: fields.index(ENGINEER_FIELD)]:
        yield "The owner's engineer signed before the decision was in the file: that signature covers no decision."


def _contractor_signs(reader: PdfFileReader) -> bool:
    try:
        about: Any = orjson.loads(next(content for name, content in attachments_of(reader) if name == _ABOUT))
    except (StopIteration, orjson.JSONDecodeError):
        # That the data are damaged is said where they are read.
        return False
    return isinstance(about, dict) and about.get("contractor_signature") == _OWN_KEY
