"""Try the folders and files that settings name, but for the key's."""

import errno
import tempfile
from collections.abc import Iterator
from pathlib import Path

from service.settings import ServiceSettings, WorkerSettings
from worker.commands.start.tried import Tried, doubtful, good, wrong
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
        say = doubtful if error.errno in _FULL else wrong
        yield say("BLOB_DIR", f"no file can be kept in {folder}: {error.strerror}.")
    else:
        kept = good("BLOB_DIR", f"{folder} keeps files.")
        yield kept if is_read_back else wrong("BLOB_DIR", f"{folder} gives back other bytes than were written.")


def try_signing_trust(settings: WorkerSettings) -> Iterator[Tried]:
    """Read the roots that receivers trust."""
    if settings.signing_trust_file is not None:
        yield _try_certificates("SIGNING_TRUST_FILE", settings.signing_trust_file)


def require_signing_trust(settings: WorkerSettings) -> Iterator[Tried]:
    """Read the roots that receivers trust, without which every file that somebody signed would be refused."""
    if settings.signing_trust_file is None:
        yield wrong("SIGNING_TRUST_FILE", "it names no file: nobody's signature could be taken.")
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
        yield wrong("REVOCATION_LIST_DIR", f"{error.filename or file} cannot be read: {error.strerror}.")
    except SigningError as error:
        yield wrong("REVOCATION_LIST_DIR", f"{file} holds no revocation list. {error}")
    else:
        yield good("REVOCATION_LIST_DIR", f"{folder} holds {len(files)} revocation lists.")


def _try_certificates(setting: str, file: Path) -> Tried:
    try:
        found = read_trust([file.read_bytes()])
    except OSError as error:
        return wrong(setting, f"{file} cannot be read: {error.strerror}.")
    except SigningError as error:
        return wrong(setting, f"{file} holds no certificate. {error}")
    return good(setting, f"{file} holds {len(found)} certificates.")
