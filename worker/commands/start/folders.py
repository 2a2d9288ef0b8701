"""Try the folders and files that settings name, but for the key's."""

import errno
import tempfile
from collections.abc import Iterator
from pathlib import Path

from service.settings import ServiceSettings, WorkerSettings
from worker.commands.start.tried import State, Tried
from worker.signing.errors import SigningError
from worker.signing.make.revocation import read_revocation_list
from worker.signing.trust.certificates import read_trust

# What passes when somebody makes room: records are taken all the same.
_FULL = {errno.ENOSPC, errno.EDQUOT}
_PROBE = b"written, read and removed when a part starts"


def try_blob_dir(settings: ServiceSettings) -> Iterator[Tried]:
    """Write a file where packages and evidence are kept, read it and remove it."""
    folder = settings.blob_dir
    try:
        # Not its parents: a disk that is not mounted would be written beside.
        folder.mkdir(exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder, prefix="incoming-probe-") as file:
            file.write(_PROBE)
            file.flush()
            is_read_back = Path(file.name).read_bytes() == _PROBE
    except OSError as error:
        state = State.DOUBTFUL if error.errno in _FULL else State.WRONG
        yield Tried("BLOB_DIR", state, f"no file can be kept in {folder}: {error.strerror}.")
    else:
        if is_read_back:
            yield Tried("BLOB_DIR", State.GOOD, f"{folder} keeps files.")
        else:
            yield Tried("BLOB_DIR", State.WRONG, f"{folder} gives back other bytes than were written.")


def try_signing_trust(settings: WorkerSettings) -> Iterator[Tried]:
    """Read the roots that receivers trust."""
    if settings.signing_trust_file is not None:
        yield _try_certificates("SIGNING_TRUST_FILE", settings.signing_trust_file)


def require_signing_trust(settings: WorkerSettings) -> Iterator[Tried]:
    """Read the roots that receivers trust, without which every file that somebody signed would be refused."""
    if settings.signing_trust_file is None:
        yield Tried("SIGNING_TRUST_FILE", State.WRONG, "it names no file: nobody's signature could be taken.")
    yield from try_signing_trust(settings)


def try_timestamp_trust(settings: WorkerSettings) -> Iterator[Tried]:
    """Read the roots of time-stamp authorities."""
    if settings.timestamp_trust_file is not None:
        yield _try_certificates("TIMESTAMP_TRUST_FILE", settings.timestamp_trust_file)


def try_revocation_lists(settings: WorkerSettings) -> Iterator[Tried]:
    """Read every revocation list that is at hand."""
    folder = settings.revocation_list_dir
    if folder is None:
        return
    file = folder
    try:
        files = sorted(one for one in folder.iterdir() if one.is_file())
        for file in files:
            read_revocation_list(file.read_bytes())
    except OSError as error:
        yield Tried("REVOCATION_LIST_DIR", State.WRONG, f"{error.filename or file} cannot be read: {error.strerror}.")
    except SigningError as error:
        yield Tried("REVOCATION_LIST_DIR", State.WRONG, f"{file} holds no revocation list. {error}")
    else:
        yield Tried("REVOCATION_LIST_DIR", State.GOOD, f"{folder} holds {len(files)} revocation lists.")


def _try_certificates(setting: str, file: Path) -> Tried:
    try:
        found = read_trust([file.read_bytes()])
    except OSError as error:
        return Tried(setting, State.WRONG, f"{file} cannot be read: {error.strerror}.")
    except SigningError as error:
        return Tried(setting, State.WRONG, f"{file} holds no certificate. {error}")
    return Tried(setting, State.GOOD, f"{file} holds {len(found)} certificates.")
