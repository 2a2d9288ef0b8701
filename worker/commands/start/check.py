"""Which settings each part needs, in the order in which they are tried."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from enum import StrEnum
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


class Place(StrEnum):
    """Where a setting points: to files, folders and the key; to the deployment's servers; to services of others."""

    AT_HAND = "at_hand"
    SERVERS = "servers"
    OUTSIDE = "outside"


_TRIALS: Mapping[tuple[PartName, Place], Sequence[Trial]] = {
    (PartName.API, Place.AT_HAND): (try_blob_dir,),
    (PartName.API, Place.SERVERS): (try_database,),
    (PartName.RELAY, Place.SERVERS): (try_database, try_redis),
    (PartName.WORKER, Place.AT_HAND): (
        try_blob_dir,
        try_signing_trust,
        try_timestamp_trust,
        try_revocation_lists,
        try_signing_key,
    ),
    (PartName.WORKER, Place.SERVERS): (try_database, try_redis),
    (PartName.WORKER, Place.OUTSIDE): (try_time_authority,),
    (PartName.READER, Place.AT_HAND): (
        try_blob_dir,
        require_signing_trust,
        try_timestamp_trust,
        try_revocation_lists,
    ),
    (PartName.READER, Place.SERVERS): (try_database, try_redis),
}


def check_settings(
    settings: ServiceSettings, part: PartName, places: Collection[Place] = tuple(Place)
) -> Iterator[Tried]:
    """Try everything that the settings name and the part needs, at some places or at all."""
    for place in places:
        for trial in _TRIALS.get((part, place), ()):
            yield from trial(settings)
