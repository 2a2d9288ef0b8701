"""Try the servers that settings name: does each answer, and is the database's schema one that we can work with."""

from collections.abc import Iterator

from kombu.connection import Connection
from kombu.exceptions import KombuError
from redis.exceptions import RedisError
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError

from service.settings import DatabaseSettings, WorkerSettings
from service.storage.migrations import missing_revisions
from service.storage.session import make_engine
from worker.commands.start.tried import State, Tried

_ANSWER_WITHIN_S = 3
_IMPATIENT = {
    "socket_connect_timeout": _ANSWER_WITHIN_S,
    "socket_timeout": _ANSWER_WITHIN_S,
    "max_retries": 1,
    "interval_start": 0,
    "interval_max": 0.1,
}


def try_database(settings: DatabaseSettings) -> Iterator[Tried]:
    """Connect, and compare the schema with the one that this program was written for."""
    setting = "DATABASE_URL"
    try:
        url = make_url(settings.database_url.get_secret_value())
        bounded = url.update_query_dict({"connect_timeout": str(_ANSWER_WITHIN_S)} | dict(url.query))
        engine = make_engine(bounded.render_as_string(hide_password=False), pool_size=1)
    except (ArgumentError, ImportError) as error:
        reason = f"it is no address of a PostgreSQL (postgresql+psycopg://…): {type(error).__name__}."
        yield Tried(setting, State.WRONG, reason)
        return
    try:
        with engine.connect() as connection:
            missing = missing_revisions(connection)
    except DBAPIError as error:
        yield Tried(setting, State.AWAY, f"the database does not answer: {str(error.orig).strip()}")
        return
    finally:
        engine.dispose()
    if missing:
        yield Tried(setting, State.AWAY, f"the schema lacks {', '.join(missing)}: run `route-acceptance migrate`.")
    else:
        yield Tried(setting, State.GOOD, "the database answers, and its schema is new enough.")


def try_redis(settings: WorkerSettings) -> Iterator[Tried]:
    """Ask for an answer as the queue's client would."""
    setting = "REDIS_URL"
    try:
        url = settings.redis_url.get_secret_value()
        connection = Connection(url, transport_options=_IMPATIENT)  # type: ignore[no-untyped-call]
        transport = connection.transport
    except (KeyError, ValueError, ImportError) as error:
        yield Tried(setting, State.WRONG, f"it is no address of a Redis (redis://…): {error}.")
        return
    if transport.driver_type != "redis":
        yield Tried(setting, State.WRONG, "it is no address of a Redis (redis://…).")
        return
    try:
        with connection:
            connection.default_channel.client.ping()  # type: ignore[attr-defined]
    except (KombuError, RedisError, OSError) as error:
        yield Tried(setting, State.AWAY, f"Redis does not answer: {error}")
    else:
        yield Tried(setting, State.GOOD, "Redis answers.")
