"""Logs say where something failed, and never what was in hand there."""

import io
import json

from worker.logs import log_into

SECRET = "what nobody may read in a log"


def fail_with(passphrase: str) -> None:
    raise ValueError(f"{len(passphrase)} letters")


def test_a_logged_failure_names_its_place_and_holds_no_value_from_there() -> None:
    file = io.StringIO()
    try:
        fail_with(SECRET)
    except ValueError as error:
        log_into(file).error("job.failed", exc_info=error)
    [exception] = json.loads(file.getvalue())["exception"]
    assert (exception["exc_type"], exception["exc_value"]) == ("ValueError", f"{len(SECRET)} letters")
    assert [frame["name"] for frame in exception["frames"]][-1] == "fail_with"
    assert SECRET not in file.getvalue()
