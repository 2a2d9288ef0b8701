"""The servers of our own start anywhere, keep to their folder, and are gone when we are gone."""

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest
import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from tests.conftest import Servers
from worker.demo.embedded import programs, stack_folder
from worker.demo.embedded.account import Account
from worker.demo.embedded.postgres import create_database, run_postgres
from worker.demo.embedded.process import EmbeddedServerError
from worker.demo.embedded.programs import EmbeddedServersMissingError
from worker.demo.embedded.redis import RedisServer
from worker.demo.embedded.stack_folder import NoFolderForServersError, private_folder

# Runs the whole stack, says where and as which processes, and stays until a signal comes.
STACK = """
import json, psycopg, time
from worker.demo.embedded.postgres import run_postgres
from worker.demo.embedded.redis import RedisServer
from worker.demo.embedded.stack_folder import private_folder

with private_folder() as folder, run_postgres(folder) as postgres:
    with RedisServer(folder) as server, postgres.connect(database="postgres") as connection:
        backends = [pid for (pid,) in connection.execute("SELECT pid FROM pg_stat_activity").fetchall()]
        pids = [postgres.pid, server.pid, *backends]
        print(json.dumps({"folder": str(folder), "pids": pids}), flush=True)
        time.sleep(60)
"""


@dataclass(frozen=True, kw_only=True)
class Stack:
    """Another process that runs the servers."""

    process: "subprocess.Popen[bytes]"
    folder: Path
    server_pids: list[int]

    def keeper_pids(self) -> list[int]:
        """Find the keepers: of the folder, of PostgreSQL and of Redis."""
        pids = [int(folder.name) for folder in Path("/proc").glob("[0-9]*")]
        return [pid for pid in pids if self._is_keeper(pid)]

    def _is_keeper(self, pid: int) -> bool:
        words = command_line(pid)
        return "keeper.py" in words and str(self.process.pid) in words.split("\0")


@contextmanager
def another_stack() -> Iterator[Stack]:
    process = subprocess.Popen([sys.executable, "-c", STACK], stdout=subprocess.PIPE, start_new_session=True)
    try:
        assert process.stdout is not None
        said = json.loads(process.stdout.readline())
        yield Stack(process=process, folder=Path(said["folder"]), server_pids=said["pids"])
    finally:
        process.kill()
        process.communicate()


def command_line(pid: int) -> str:
    """Read a process's words; a process that has ended has none, even if nobody has collected it yet."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return ""


def comes_true(claim: Callable[[], bool], *, within_s: float = 15) -> bool:
    give_up_at = time.monotonic() + within_s
    while not claim() and time.monotonic() < give_up_at:
        time.sleep(0.05)
    return claim()


def plain_url(url: str) -> str:
    return url.replace("+psycopg", "", 1)


def redis_client(server: RedisServer) -> "redis.Redis":
    return redis.Redis(unix_socket_path=str(server.socket), retry=Retry(NoBackoff(), retries=0))


def test_the_servers_run_as_no_root_on_private_sockets_alone(servers: Servers) -> None:
    pids = [servers.postgres.pid, servers.redis.pid]
    assert all(Path(f"/proc/{pid}").stat().st_uid != 0 for pid in pids)
    assert servers.folder.stat().st_mode & 0o777 == 0o700
    with servers.postgres.connect(database="postgres") as connection:
        assert connection.execute("SHOW listen_addresses").fetchone() == ("",)
    with redis_client(servers.redis) as client:
        wanted = {"port": "0", "save": "", "appendonly": "no", "maxmemory-policy": "noeviction"}
        assert {name: client.config_get(name)[name] for name in wanted} == wanted


def test_what_a_commit_promises_is_kept_and_times_are_utc() -> None:
    # Not the session's server, which the tests let forget what a commit promises.
    with (
        private_folder() as folder,
        run_postgres(folder) as postgres,
        psycopg.connect(plain_url(postgres.application_url)) as connection,
    ):
        names = ("fsync", "synchronous_commit", "full_page_writes", "timezone", "jit", "server_encoding")
        settings = {name: connection.execute(f"SHOW {name}").fetchone() for name in names}
    assert settings == {
        "fsync": ("on",),
        "synchronous_commit": ("on",),
        "full_page_writes": ("on",),
        "timezone": ("UTC",),
        "jit": ("off",),
        "server_encoding": ("UTF8",),
    }


def test_the_application_cannot_create_tables_and_the_owner_can(servers: Servers) -> None:
    owner_url, application_url = create_database(servers.postgres, "rights")
    with (
        psycopg.connect(plain_url(application_url)) as application,
        pytest.raises(psycopg.errors.InsufficientPrivilege, match="schema public"),
    ):
        application.execute("CREATE TABLE mine (id int)")
    with psycopg.connect(plain_url(owner_url)) as owner:
        owner.execute("CREATE TABLE ours (id int)")


def test_neither_role_is_above_row_level_security(servers: Servers) -> None:
    with servers.postgres.connect(database="postgres") as connection:
        rows = connection.execute(
            "SELECT rolname, rolcanlogin, rolsuper OR rolbypassrls OR rolcreatedb OR rolcreaterole OR rolreplication "
            "FROM pg_roles WHERE rolname LIKE 'acceptance%' ORDER BY rolname"
        ).fetchall()
        owner = connection.execute("SELECT datdba::regrole::text FROM pg_database WHERE datname = 'acceptance'")
        assert owner.fetchone() == ("acceptance_owner",)
    assert rows == [("acceptance_app", True, False), ("acceptance_owner", True, False)]


def test_a_database_made_from_a_template_has_its_tables_and_the_same_rights(servers: Servers) -> None:
    owner_url, _ = create_database(servers.postgres, "pattern")
    with psycopg.connect(plain_url(owner_url)) as owner:
        owner.execute("CREATE TABLE kept (id int); INSERT INTO kept VALUES (7); GRANT SELECT ON kept TO acceptance_app")
    _, application_url = create_database(servers.postgres, "copy of pattern", template="pattern")
    with psycopg.connect(plain_url(application_url)) as application:
        assert application.execute("SELECT id FROM kept").fetchall() == [(7,)]
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            application.execute("CREATE TABLE mine (id int)")


def test_redis_can_be_killed_and_comes_back_empty_on_the_same_socket(redis_server: RedisServer) -> None:
    url = redis_server.url
    with redis_client(redis_server) as client:
        client.set("waiting", "job")
    redis_server.kill()
    with redis_client(redis_server) as client, pytest.raises(redis.exceptions.ConnectionError):
        client.ping()
    redis_server.start()
    assert redis_server.url == url
    with redis_client(redis_server) as client:
        assert client.dbsize() == 0


def test_redis_starts_again_after_somebody_else_killed_it(redis_server: RedisServer) -> None:
    assert redis_server.pid is not None
    os.kill(redis_server.pid, signal.SIGKILL)
    redis_server.start()
    with redis_client(redis_server) as client:
        assert client.ping()


def test_postgres_recovers_what_was_committed_before_a_crash(servers: Servers) -> None:
    owner_url, _ = create_database(servers.postgres, "crash")
    with psycopg.connect(plain_url(owner_url)) as owner:
        owner.execute("CREATE TABLE kept (id int); INSERT INTO kept VALUES (7)")
    servers.postgres.kill()
    servers.postgres.start()
    with psycopg.connect(plain_url(owner_url)) as owner:
        assert owner.execute("SELECT id FROM kept").fetchall() == [(7,)]


def test_both_stop_at_the_end_and_no_other_folder_changes_its_mode() -> None:
    outside = [*Path(tempfile.gettempdir(), "x").parents, *Path(sys.prefix, "x").parents, *Path.cwd().parents]
    modes = {folder: folder.stat().st_mode for folder in outside}
    with private_folder() as folder, run_postgres(folder) as postgres, RedisServer(folder) as server:
        assert server.url == f"redis+socket://{folder}/redis/redis.sock"
        pid = postgres.pid
        assert pid is not None
        assert "postgres" in command_line(pid)
        assert {one: one.stat().st_mode for one in outside} == modes
    assert command_line(pid) == ""
    assert not folder.exists()
    assert {one: one.stat().st_mode for one in outside} == modes


def test_the_folder_goes_when_what_ran_in_it_raises() -> None:
    with pytest.raises(ZeroDivisionError), private_folder() as folder, RedisServer(folder):
        assert folder.exists()
        _ = 1 / 0
    assert not folder.exists()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=lambda number: number.name)
def test_nothing_is_left_after_a_signal_to_the_process_group(number: signal.Signals) -> None:
    with another_stack() as stack:
        keepers = stack.keeper_pids()
        assert len(keepers) == 3
        assert all(map(command_line, stack.server_pids))
        os.killpg(stack.process.pid, number)
        assert comes_true(lambda: not any(map(command_line, [*stack.server_pids, *keepers])))
        assert not stack.folder.exists()


def test_servers_die_with_killed_keepers_and_the_next_start_sweeps_their_folder() -> None:
    with another_stack() as stack:
        keepers = stack.keeper_pids()
        assert len(keepers) == 3
        for pid in (*keepers, stack.process.pid):
            os.kill(pid, signal.SIGKILL)
        assert comes_true(lambda: not any(map(command_line, [*stack.server_pids, *keepers])))
        stack.process.wait()
        assert stack.folder.exists()
        with private_folder():
            assert not stack.folder.exists()


def test_a_start_leaves_the_folders_of_living_processes_alone(servers: Servers) -> None:
    with private_folder() as folder:
        assert folder != servers.folder
        assert servers.folder.exists()


def test_a_temporary_folder_too_deep_for_sockets_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    deep = tmp_path / ("d" * 100)
    deep.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(deep))
    with private_folder() as folder:
        assert deep not in folder.parents
    monkeypatch.setattr(stack_folder, "MAXIMUM_SOCKET_PATH_BYTES", 10)
    with pytest.raises(NoFolderForServersError, match="TMPDIR"), private_folder():
        pass


def test_a_server_that_cannot_start_says_why() -> None:
    with private_folder() as folder:
        server = RedisServer(folder)
        server.socket.mkdir()
        with pytest.raises(EmbeddedServerError, match=r"did not become ready(.|\n)*Opening Unix socket"):
            server.start()


def test_without_the_wheels_the_error_names_both_ways_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(programs, "_POSTGRES_PACKAGE", "no_such_package")
    monkeypatch.setattr(programs, "_REDIS_PACKAGE", "no_such_package")
    monkeypatch.setenv("PATH", str(tmp_path))
    with private_folder() as folder:
        with pytest.raises(EmbeddedServersMissingError, match=r"route-acceptance\[embedded\].*DATABASE_URL.*REDIS_URL"):
            RedisServer(folder)
        with pytest.raises(EmbeddedServersMissingError, match="PostgreSQL 18"), run_postgres(folder):
            pass


@pytest.mark.parametrize(("version", "is_preferred"), [("99.0.0", True), ("1.2.3", False)])
def test_a_server_on_the_path_is_used_if_it_is_newer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, version: str, is_preferred: bool
) -> None:
    on_path = tmp_path / "valkey-server"
    on_path.write_text(f"#!/bin/sh\necho 'Valkey server v={version} sha=00000000:0 malloc=libc bits=64'\n")
    on_path.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    own = Account(uid=os.geteuid(), gid=os.getegid())
    assert (programs.redis_program(copy_into=tmp_path, account=own) == on_path) is is_preferred
