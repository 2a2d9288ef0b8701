"""Which settings each part needs, in the order in which they are tried."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from service.settings import ServiceSettings
from worker.commands.start.folders import (
    require_signing_trust,
    try_blob_dir,
    try_revocation_lists,
    try_signing_trust,
    try_timestamp_trust,
)
from worker.commands.start.keys import try_signing_key, try_time_authority
from worker.commands.start.servers import try_database, try_redis
from worker.commands.start.tried import Tried

Trial = Callable[[Any], Iterator[Tried]]


class PartName(StrEnum):
    """The parts that run for long, by their commands."""

    API = "api"
    RELAY = "relay"
    WORKER = "worker"
    READER = "reader"


_AT_HAND: Mapping[PartName, Sequence[Trial]] = MappingProxyType(
    {
        PartName.API: (try_blob_dir,),
        PartName.RELAY: (),
        PartName.WORKER: (
            try_blob_dir,
            try_signing_trust,
            try_timestamp_trust,
            try_revocation_lists,
            try_signing_key,
        ),
        PartName.READER: (try_blob_dir, require_signing_trust, try_timestamp_trust, try_revocation_lists),
    }
)
_SERVERS: Mapping[PartName, Sequence[Trial]] = MappingProxyType(
    {
        PartName.API: (try_database,),
        PartName.RELAY: (try_database, try_redis),
        PartName.WORKER: (try_database, try_redis),
        PartName.READER: (try_database, try_redis),
    }
)
_OUTSIDE: Mapping[PartName, Sequence[Trial]] = MappingProxyType({PartName.WORKER: (try_time_authority,)})


def check_settings(settings: ServiceSettings, part: PartName) -> Iterator[Tried]:
    """Try everything that the settings name and the part needs."""
    yield from check_at_hand(settings, part)
    yield from check_servers(settings, part)
    yield from check_outside(settings, part)


def check_at_hand(settings: ServiceSettings, part: PartName) -> Iterator[Tried]:
    """Try files, folders and the key."""
    return _try_all(_AT_HAND[part], settings)


def check_servers(settings: ServiceSettings, part: PartName) -> Iterator[Tried]:
    """Try the servers of the deployment."""
    return _try_all(_SERVERS[part], settings)


def check_outside(settings: ServiceSettings, part: PartName) -> Iterator[Tried]:
    """Try who is outside of it."""
    return _try_all(_OUTSIDE.get(part, ()), settings)


def _try_all(trials: Sequence[Trial], settings: ServiceSettings) -> Iterator[Tried]:
    for trial in trials:
        yield from trial(settings)
