"""Let a part begin only when it can do its work, and say in a sentence why it cannot.

What is wrong ends the part at once with code 2. A server that is away is waited for, it may be starting as we are; then
the part ends with code 1, and whoever looks after it starts it again. Who is outside only gets a warning.
"""

import time
from pathlib import Path

import structlog
import typer

from service.settings import ServiceSettings, WorkerSettings
from worker.commands.start.check import PartName, Place, check_settings
from worker.commands.start.tried import State, Tried

# Shorter than a silence for which a part is ended.
PATIENCE_S = 20.0
_LOOK_EVERY_S = 0.5
_SAY_EVERY_S = 60.0

log = structlog.get_logger()


def await_settings(settings: ServiceSettings, part: PartName, *, heartbeat_file: Path | None = None) -> None:
    """Return when everything that the part needs was tried and is there; else end this process."""
    _require_at_hand(settings, part, heartbeat_file)
    _await_servers(settings, part)
    for one in check_settings(settings, part, [Place.OUTSIDE]):
        if one.state is not State.GOOD:
            _warn(one)


def _require_at_hand(settings: ServiceSettings, part: PartName, heartbeat_file: Path | None) -> None:
    tried = list(check_settings(settings, part, [Place.AT_HAND]))
    for one in tried:
        if one.state is State.DOUBTFUL:
            _warn(one)
    refused = next((one for one in tried if one.state is State.REFUSED), None)
    if refused is not None and isinstance(settings, WorkerSettings):
        _await_another_pin(refused, settings, heartbeat_file)
        _require_at_hand(settings, part, heartbeat_file)
        return
    _end_with([one for one in tried if one.state is State.WRONG], code=2)


def _await_servers(settings: ServiceSettings, part: PartName) -> None:
    give_up_at = time.monotonic() + PATIENCE_S
    while True:
        tried = list(check_settings(settings, part, [Place.SERVERS]))
        _end_with([one for one in tried if one.state is State.WRONG], code=2)
        missing = [one for one in tried if one.state is State.AWAY]
        if not missing:
            return
        if time.monotonic() >= give_up_at:
            _end_with(missing, code=1)
        time.sleep(_LOOK_EVERY_S)


def _await_another_pin(refused: Tried, settings: WorkerSettings, heartbeat_file: Path | None) -> None:
    """Wait for a person: started again and again with the same PIN, a part would lock the module for good.

    Nothing that a restart could mend, so the heartbeat goes on.
    """
    file = settings.signing_pkcs11_pin_file
    before, said_at = _version_of(file), float("-inf")
    while _version_of(file) == before:
        if time.monotonic() - said_at >= _SAY_EVERY_S:
            said_at = time.monotonic()
            log.error("settings.refused", setting=refused.setting, reason=refused.reason)
            typer.echo(f"{refused} It is tried again when the file has changed.", err=True)
        if heartbeat_file is not None:
            heartbeat_file.write_text("waits: for another PIN\n")
        time.sleep(_LOOK_EVERY_S)


def _version_of(file: Path | None) -> tuple[int, int, int] | None:
    if file is None or not file.exists():
        return None
    stat = file.stat()
    return stat.st_ino, stat.st_size, stat.st_mtime_ns


def _end_with(tried: list[Tried], *, code: int) -> None:
    if not tried:
        return
    for one in tried:
        log.error("settings.not_usable", setting=one.setting, state=one.state.value, reason=one.reason)
    for one in tried:
        typer.echo(str(one), err=True)
    raise typer.Exit(code)


def _warn(one: Tried) -> None:
    log.warning("settings.doubtful", setting=one.setting, reason=one.reason)
    typer.echo(str(one), err=True)
