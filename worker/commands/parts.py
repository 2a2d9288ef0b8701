"""The commands of the parts that run for long, and the one that tries their settings."""

from pathlib import Path
from typing import Annotated

import typer

from service.settings import ServiceSettings, WorkerSettings
from worker.commands import processes
from worker.commands.parent_watch import end_with_parent
from worker.commands.start.check import PartName, check_settings
from worker.commands.start.tried import State as Found
from worker.commands.start.waiting import await_settings
from worker.logs import start_logging

app = typer.Typer()

EndWithInput = Annotated[bool, typer.Option("--end-with-input", hidden=True)]
HeartbeatFile = Annotated[
    Path | None,
    typer.Option(help="A file that is touched while the work that is due is taken: its age tells a supervisor."),
]


@app.command()
def api(
    host: Annotated[str, typer.Option(help="The address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="The port to listen on.")] = 8080,
    descriptor: Annotated[int | None, typer.Option(hidden=True)] = None,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Answer requests. Reads DATABASE_URL and BLOB_DIR; knows nothing of Redis.

    Any number may run behind one address. TLS and rate limits belong to the proxy in front.
    """
    _start(PartName.API, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_api(host=host, port=port, descriptor=descriptor, heartbeat_file=heartbeat_file)


@app.command()
def relay(heartbeat_file: HeartbeatFile = None, end_with_input: EndWithInput = False) -> None:
    """Tell the workers of jobs that are due. Reads DATABASE_URL and REDIS_URL; two may run.

    It needs a direct connection to PostgreSQL (LISTEN), not one through a pooler.
    """
    _start(PartName.RELAY, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_relay(heartbeat_file)


@app.command()
def worker(
    concurrency: Annotated[int, typer.Option(help="How many jobs at once; each takes about 150 MB.")] = 1,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Judge, draw and sign. Reads DATABASE_URL, REDIS_URL, BLOB_DIR and the signing key's files.

    SIGNING_PKCS12_FILE and SIGNING_PASSPHRASE_FILE name the key; without one the worker does not start.
    """
    _start(PartName.WORKER, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_worker(concurrency=concurrency, heartbeat_file=heartbeat_file)


@app.command()
def reader(
    concurrency: Annotated[int, typer.Option(help="How many files at once; each takes 0.5 GB at most.")] = 1,
    heartbeat_file: HeartbeatFile = None,
    end_with_input: EndWithInput = False,
) -> None:
    """Read files that others made, apart from judging. Reads DATABASE_URL, REDIS_URL, BLOB_DIR and SIGNING_TRUST_FILE.

    It has no signing key, and a file made to exhaust it keeps no splice from being judged.
    """
    _start(PartName.READER, heartbeat_file=heartbeat_file, end_with_input=end_with_input)
    processes.run_reader(concurrency=concurrency, heartbeat_file=heartbeat_file)


@app.command()
def check(part: Annotated[PartName, typer.Argument(help="The part whose settings are tried.")]) -> None:
    """Try every file, folder, key and address that the settings of a part name, as it does when it starts.

    Ends with 0 if all are as they have to be, with 2 if one is not. A wrong PIN counts as an attempt.
    """
    tried = list(check_settings(_settings_of(part), part))
    for one in tried:
        typer.echo(f"{one.state.value:<9} {one}")
    raise typer.Exit(0 if all(one.state is Found.GOOD for one in tried) else 2)


def _start(part: PartName, *, heartbeat_file: Path | None, end_with_input: bool) -> None:
    start_logging()
    if end_with_input:
        end_with_parent()
    await_settings(_settings_of(part), part, heartbeat_file=heartbeat_file)


def _settings_of(part: PartName) -> ServiceSettings:
    return ServiceSettings() if part is PartName.API else WorkerSettings()
