"""Refuse what a form or a record says has happened and has not yet: the one place that holds times to the clock."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel

from service.errors import BodyInvalidError
from service.settings import CLOCK_TOLERANCE
from service.vocabulary.quantities import InstantKind, InstantOf, canonical_time
from service.vocabulary.validation import Fault

# What another clock said tells how wrong that clock is, and is kept for that: a time zone set wrong is hours.
_MOST_AHEAD: Mapping[InstantKind, timedelta] = {
    InstantKind.EVENT: CLOCK_TOLERANCE,
    InstantKind.READING: timedelta(days=1),
}


def refuse_times_ahead(form: BaseModel, *, now: datetime) -> None:
    """Refuse a form that says of something to come that it has happened."""
    faults = list(times_ahead(form, now=now))
    if faults:
        raise BodyInvalidError("What is said to have happened lies in the future.", faults=faults)


def times_ahead(form: BaseModel, *, now: datetime, pointer: str = "") -> Iterator[Fault]:
    """Give a fault for each time of a form, however deep in it, that lies too far ahead of the service's clock."""
    for name, most in _own_times(type(form)).items():
        instant = getattr(form, name)
        if instant is not None and instant > now + most:
            detail = f"is in the future; the service's clock says {canonical_time(now)}"
            yield Fault(pointer=f"{pointer}/{name}", detail=detail)
    for name in _parts_with_times(type(form)):
        part = getattr(form, name)
        if isinstance(part, BaseModel):
            yield from times_ahead(part, now=now, pointer=f"{pointer}/{name}")
        elif isinstance(part, tuple):
            for index, one in enumerate(part):
                yield from times_ahead(one, now=now, pointer=f"{pointer}/{name}/{index}")


@cache
def _own_times(form: type[BaseModel]) -> Mapping[str, timedelta]:
    """Return the times of a form that may not lie ahead at will, each with how far it may."""
    return {
        name: _MOST_AHEAD[mark.kind]
        for name, field in form.model_fields.items()
        for mark in (*field.metadata, *_marks(field.annotation))
        if isinstance(mark, InstantOf) and mark.kind in _MOST_AHEAD
    }


@cache
def _parts_with_times(form: type[BaseModel]) -> tuple[str, ...]:
    return tuple(
        name
        for name, field in form.model_fields.items()
        if any(_own_times(part) or _parts_with_times(part) for part in _forms_in(field.annotation))
    )


def _marks(annotation: Any) -> Iterator[Any]:
    yield from getattr(annotation, "__metadata__", ())
    for part in get_args(annotation):
        yield from _marks(part)


def _forms_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _forms_in(part)
