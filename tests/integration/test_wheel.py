"""A built wheel does the whole job where no checkout is: schema, parts, story, signed packages."""

import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from email.parser import HeaderParser
from io import StringIO
from pathlib import Path
from zipfile import ZipFile

import httpx
import pytest
from pydantic import SecretStr
from rich.console import Console

from service.settings import WorkerSettings
from service.vocabulary.words import TokenKind
from tests.compose import ROOT
from tests.conftest import Servers
from tests.installed import build_wheel, install_into_environment, run
from worker.demo.authority.server import serve_time
from worker.demo.authority.throwaway import DemonstrationAuthority
from worker.demo.embedded.postgres import create_database
from worker.demo.narrator import Narrator
from worker.demo.own_key import OwnKey
from worker.demo.parties import Parties, open_project
from worker.demo.stack import environment_of, plan_parts, wait_until_ready
from worker.demo.story import Story
from worker.demo.supervisor import Supervisor
from worker.program import PROGRAM

pytestmark = pytest.mark.timeout(600)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_wheel(tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def programs(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of an environment's programs that has the wheel, and no checkout."""
    return install_into_environment(wheel, tmp_path_factory.mktemp("environment") / "venv")


@pytest.fixture
def fresh(
    servers: Servers, authority: DemonstrationAuthority, tmp_path: Path, request: pytest.FixtureRequest
) -> Iterator[WorkerSettings]:
    """Give settings with an empty database, which the wheel has to bring to its schema."""
    owner_url, application_url = create_database(servers.postgres, "of_the_wheel")
    program = request.getfixturevalue("programs") / "route-acceptance"
    said = run(str(program), "migrate", DATABASE_URL=application_url, MIGRATION_DATABASE_URL=owner_url)
    assert said == "The schema is the newest.\n"
    with serve_time(authority) as time_url:
        yield WorkerSettings(
            database_url=SecretStr(application_url),
            redis_url=SecretStr(servers.redis.url),
            blob_dir=tmp_path / "blobs",
            signing_pkcs12_file=authority.pkcs12_file,
            signing_passphrase_file=authority.passphrase_file,
            signing_trust_file=authority.root_file,
            timestamp_url=SecretStr(time_url),
        )


@contextmanager
def running(program: Path, settings: WorkerSettings, folder: Path) -> Iterator[httpx.Client]:
    """Run all parts of an installation; give a client of its API."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        ours = plan_parts(listener=listener, heartbeats=folder, concurrency=1)
        plans = [replace(plan, program=[str(program)]) for plan in ours]
        said: list[str] = []
        environment = {**environment_of(settings), "PYTHONPATH": ""}
        with Supervisor(plans, environment=environment, logs=folder, say=said.append):
            url = f"http://127.0.0.1:{listener.getsockname()[1]}"
            wait_until_ready(url)
            with httpx.Client(base_url=url, timeout=30) as http:
                yield http
        # None of them had to be started a second time.
        assert said == []


def test_the_wheel_names_its_version_and_its_licences(wheel: Path) -> None:
    with ZipFile(wheel) as files:
        [metadata] = [name for name in files.namelist() if name.endswith(".dist-info/METADATA")]
        said = HeaderParser().parsestr(files.read(metadata).decode())
        licences = {name.split("/licenses/")[1] for name in files.namelist() if "/licenses/" in name}
    assert (f"{said['Name']} {said['Version']}", said["License-Expression"]) == (PROGRAM, "Apache-2.0")
    assert set(said.get_all("License-File", [])) == licences
    assert {Path(name).name for name in licences} == {"LICENSE", "LICENSE-DejaVu.txt"}


def test_the_wheel_holds_every_file_of_the_code_but_the_demo(wheel: Path) -> None:
    with ZipFile(wheel) as files:
        held = {name for name in files.namelist() if ".dist-info/" not in name}
    ours = ("--cached", "--others", "--exclude-standard", "service", "worker", "openapi_examples")
    committed = {name for name in run("git", "-C", str(ROOT), "ls-files", *ours).splitlines() if name[-3:] != ".md"}
    # Alembic makes a new migration of the first, in a checkout only; the folder's name says what the other is.
    assert committed - held == {
        "service/storage/migrations/script.py.mako",
        *(name for name in committed if name.startswith("worker/demo/")),
    }
    assert held <= committed


def test_an_installation_is_found_in_its_own_environment_alone(programs: Path) -> None:
    asked = "import service, worker, openapi_examples as data; print(service.__file__, worker.__file__, *data.__path__)"
    places = [Path(one) for one in run(str(programs / "python"), "-c", asked).split()]
    assert len(places) == 3
    assert all(programs.parent in place.parents for place in places)
    assert run(str(programs / "route-acceptance"), "--version") == f"{PROGRAM}\n"


def test_parts_of_the_wheel_take_a_route_from_its_first_splice_to_its_second_notice(
    programs: Path,
    fresh: WorkerSettings,
    authority: DemonstrationAuthority,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Whoever starts Python in the checkout finds its modules there.
    monkeypatch.chdir(tmp_path)
    program, url = programs / "route-acceptance", fresh.database_url.get_secret_value()
    token = run(str(program), "token", "administrator", DATABASE_URL=url).strip()
    own_key = OwnKey(trust=[authority.root_file.read_bytes()])
    with running(program, fresh, tmp_path) as http:
        document = http.get("/openapi.json").json()
        parties = open_project(http, token)
        narrator = Narrator(Console(file=StringIO()))
        story = Story(parties, narrator, tmp_path / "queue", own_key)
        story.play()
        pdfs = [http.get(f"/v1/packages/{one['id']}/pdf", headers=_as_engineer(parties)) for one in story.packages]
    assert document == json.loads((ROOT / "openapi_examples" / "openapi.json").read_text())
    assert [one["data"]["segment_id"] for one in story.notices] == ["west", "east"]
    (tmp_path / "engineer.pem").write_bytes(own_key.pem)
    for number, pdf in enumerate(pdfs):
        file = tmp_path / f"package_{number}.pdf"
        file.write_bytes(pdf.content)
        trust = ("--trust", str(authority.root_file), "--trust-engineer", str(tmp_path / "engineer.pem"))
        report = json.loads(run(str(program), "verify", str(file), *trust, "--json"))
        assert (report["state"], report["data"]["pages"], report["data"]["drawn_by"]) == (
            "complete",
            "as_drawn",
            PROGRAM,
        )


def _as_engineer(parties: Parties) -> dict[str, str]:
    return {"Authorization": f"Bearer {parties.tokens[TokenKind.ENGINEER]}"}
