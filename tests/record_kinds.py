"""Every kind of record, by the factory that makes one, for tests that hold of all."""

from collections.abc import Callable
from typing import Any

import orjson

from service.vocabulary.records.record import RECORD, Record
from tests.factories import (
    Body,
    make_attenuation,
    make_cable_laying,
    make_calibration,
    make_cleaning,
    make_closure_state,
    make_continuity,
    make_dispersion,
    make_end_face,
    make_otdr,
    make_return_loss,
    make_splice,
    make_termination,
)

MAKE: dict[str, Callable[..., Body]] = {
    "cable_laying": make_cable_laying,
    "arc_calibration": make_calibration,
    "splice": make_splice,
    "termination": make_termination,
    "closure_state": make_closure_state,
    "cleaning": make_cleaning,
    "end_face": make_end_face,
    "continuity": make_continuity,
    "otdr": make_otdr,
    "attenuation": make_attenuation,
    "return_loss": make_return_loss,
    "dispersion": make_dispersion,
}
CONNECTIONS = ["termination", "cleaning", "end_face"]
TESTS = ["continuity", "otdr", "attenuation", "return_loss", "dispersion"]


def read_record(body: Any) -> Record:
    """Return a posted record."""
    return RECORD.validate_json(orjson.dumps(body))
