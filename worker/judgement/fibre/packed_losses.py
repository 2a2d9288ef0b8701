"""What a trace shows at each site, in few characters: a route of 864 fibres has 145,000 such losses."""

import struct
from binascii import a2b_base64, b2a_base64
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from worker.judgement.traces.aligned_trace import AlignedTrace, Reading

# In place of a loss that was not read; none is so low.
UNREAD = -(1 << 15)
_MOST_MDB = (1 << 15) - 1
# Two bytes a loss, the lower first, on any machine.
_FORM = "<i2"


def pack_losses(aligned: AlignedTrace, *, sites: int) -> str:
    """Write the losses that a trace has events for, by the index of the site; joints that share one show it once."""
    losses_mdb, told = [UNREAD] * sites, set(aligned.readings)
    if aligned.plain is not None:
        told = set()
        for site, loss_mdb in zip(aligned.plain.sites, aligned.plain.losses_mdb, strict=True):
            if loss_mdb is None:
                told.add(site)
            else:
                losses_mdb[site] = loss_mdb if -_MOST_MDB <= loss_mdb <= _MOST_MDB else _nearest(loss_mdb)
    counted: set[int] = set()
    for site in sorted(told):
        shown = aligned.readings[site]
        if isinstance(shown, Reading) and shown.events and shown.events[0].number not in counted:
            counted.add(shown.events[0].number)
            losses_mdb[site] = _nearest(shown.high_mdb)
    return b2a_base64(struct.pack(f"<{sites}h", *losses_mdb), newline=False).decode()


def _nearest(loss_mdb: int) -> int:
    return max(-_MOST_MDB, min(_MOST_MDB, loss_mdb))


def unpack_losses(packed: Sequence[str]) -> NDArray[np.int64]:
    """Return the losses of traces, a row each; all are of one route, and as long."""
    content = b"".join([a2b_base64(one) for one in packed])
    return np.frombuffer(content, dtype=_FORM).reshape(len(packed), -1).astype(np.int64)
