"""The deployment's text: there is no Docker engine to run it on where the tests run, so what can be read is checked."""

import json
import os
import re
import subprocess
import time
import tomllib
from pathlib import Path, PurePosixPath
from typing import Any

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from service.api.openapi import API_VERSION
from service.settings import DatabaseSettings, ServiceSettings, WorkerSettings
from tests.compose import OURS, ROOT, SECRETS, VariableMissingError, let_into_image, read_compose
from tests.outside_tools import leave_out, require_tool
from worker.commands.main import app
from worker.commands.start.check import PartName
from worker.program import PROGRAM

COMPOSE: Any = read_compose(SECRETS)
SERVICES: dict[str, Any] = COMPOSE["services"]
OPERATION = (ROOT / "service" / "OPERATION.md").read_text()
CLASSES: dict[str, type[DatabaseSettings]] = dict.fromkeys(("relay", "worker", "reader"), WorkerSettings)
CLASSES |= {"migrate": DatabaseSettings, "api": ServiceSettings}
# As the chapter says it: `NAME`, `NAME` | part, part | …
ROWS = re.findall(r"^\| ((?:`[A-Z0-9_]+`(?:, )?)+) \| ([a-z, ]+) \|", OPERATION, flags=re.MULTILINE)
SETTINGS = [
    (name, part) for names, parts in ROWS for name in re.findall(r"`(\w+)`", names) for part in parts.split(", ")
]

LICENCE_SECTIONS = (
    "Definitions.",
    "Grant of Copyright License.",
    "Grant of Patent License.",
    "Redistribution.",
    "Submission of Contributions.",
    "Trademarks.",
    "Disclaimer of Warranty.",
    "Limitation of Liability.",
    "Accepting Warranty or Additional Liability.",
)


def test_the_topology_is_the_one_described() -> None:
    assert set(SERVICES) == {"postgres", "redis", *OURS}
    assert "redis" not in SERVICES["api"]["depends_on"]
    assert "REDIS_URL" not in SERVICES["api"]["environment"]


def test_the_api_shares_no_network_with_redis() -> None:
    networks = {name: set(service["networks"]) for name, service in SERVICES.items()}
    assert networks["api"].isdisjoint(networks["redis"])
    assert set(COMPOSE["networks"]) == set.union(*networks.values())
    for name, service in SERVICES.items():
        for needed in service.get("depends_on", ()):
            assert needed == "migrate" or networks[name] & networks[needed], (name, needed)


def test_every_setting_of_the_chapter_is_listed_once_and_read_by_its_part() -> None:
    assert len(SETTINGS) == len(set(SETTINGS)) > 20
    for name, part in SETTINGS:
        assert name.lower() in CLASSES[part].model_fields, (name, part)


@pytest.mark.parametrize(("name", "part"), SETTINGS)
def test_every_setting_of_the_chapter_reaches_its_container(name: str, part: str) -> None:
    assert name in SERVICES[part]["environment"]
    if not SERVICES[part]["environment"][name] or name.startswith("SIGNING_"):
        assert read_compose({**SECRETS, name: "said"})["services"][part]["environment"][name] == "said"


def test_nothing_reaches_a_container_that_the_chapter_does_not_name() -> None:
    assert {(name, part) for part in OURS for name in SERVICES[part]["environment"]} == set(SETTINGS)


@pytest.mark.parametrize("name", sorted(WorkerSettings.model_fields))
def test_every_setting_is_in_the_chapter_or_said_to_be_left_alone(name: str) -> None:
    [internal] = re.findall(r"An empty setting is not set\. (.*?) are how the\s+parts", OPERATION, flags=re.DOTALL)
    left_alone = set(re.findall(r"`(\w+)`", internal))
    assert (name.upper() in left_alone) is not (name.upper() in {one for one, _ in SETTINGS})


@pytest.mark.parametrize("part", OURS)
def test_every_file_that_is_named_lies_in_a_folder_that_is_mounted(part: str) -> None:
    mounted = [PurePosixPath(volume.split(":")[1]) for volume in SERVICES[part].get("volumes", ())]
    named = {
        name: PurePosixPath(value)
        for name, value in SERVICES[part]["environment"].items()
        # The relay has to be told of the folder, and never opens it.
        if value.startswith("/") and (name, part) != ("BLOB_DIR", "relay")
    }
    assert bool(named) is (part in {"api", "worker", "reader"})
    assert [name for name, path in named.items() if not any(path.is_relative_to(one) for one in mounted)] == []


def test_files_and_a_security_modules_library_can_be_given_to_the_worker_alone() -> None:
    given = {"./secrets:/run/acceptance:ro", "./module:/opt/module:ro"}
    assert {name for name, one in SERVICES.items() if given & set(one.get("volumes", ()))} == {"worker"}
    assert given <= set(SERVICES["worker"]["volumes"])
    in_module = read_compose({**SECRETS, "SIGNING_PKCS12_FILE": ""})["services"]["worker"]["environment"]
    assert in_module["SIGNING_PKCS12_FILE"] == ""


@pytest.mark.parametrize("name", sorted(SECRETS))
def test_without_a_password_nothing_starts(name: str) -> None:
    with pytest.raises(VariableMissingError, match=name):
        read_compose({other: value for other, value in SECRETS.items() if other != name})


@pytest.mark.parametrize("name", sorted(set(SERVICES) - {"migrate"}))
def test_every_part_that_stays_has_a_health_check_and_is_started_again(name: str) -> None:
    assert SERVICES[name]["healthcheck"]["test"]
    assert SERVICES[name]["restart"] == "unless-stopped"


@pytest.mark.parametrize("name", [part.value for part in PartName if part.value in SERVICES])
def test_the_health_check_reads_the_heartbeat_that_the_command_writes(name: str) -> None:
    command = SERVICES[name]["command"]
    assert command[command.index("--heartbeat-file") + 1] in SERVICES[name]["healthcheck"]["test"][1]


@pytest.mark.parametrize(
    ("age_s", "says", "healthy", "ends"),
    [
        (None, "", False, False),
        (0, "ready\n", True, False),
        (0, "waits: the queue is away\n", False, False),
        (600, "ready\n", False, True),
        (600, "waits: the queue is away\n", False, True),
    ],
)
def test_the_health_check_ends_a_part_whose_heartbeat_is_old_and_leaves_others(
    tmp_path: Path, age_s: int | None, says: str, healthy: bool, ends: bool
) -> None:
    beat = tmp_path / "heartbeat"
    # The file's own path may hold any number.
    check = SERVICES["worker"]["healthcheck"]["test"][1].replace("sleep 10", "sleep 0.3")
    check = check.replace("/tmp/heartbeat", str(beat))
    if age_s is not None:
        beat.write_text(says)
        subprocess.run(["touch", "--date", f"@{time.time() - age_s:.0f}", beat], check=True)
    # Number 1 stands for the engine's init: beside it a part that hangs and will not end, and the check.
    hung = "trap '' TERM; while :; do sleep 0.1; done"
    state = "$(cut -d' ' -f3 /proc/$part/stat 2>/dev/null)"
    # A signal that was sent has not ended anybody yet.
    look = f"for _ in $(seq 20); do case {state} in ''|Z) echo ended; exit;; esac; sleep 0.02; done; echo lives $said"
    init = f"sh -c \"{hung}\" & part=$!; sh -c '{check}'; said=$?; {look}"
    own = ["--pid", "--fork", "--kill-child", "--mount-proc", *([] if os.geteuid() == 0 else ["--map-root-user"])]
    unshare = [require_tool("unshare"), *own, "sh", "-c", init]
    ran = subprocess.run(unshare, capture_output=True, text=True, timeout=30, check=False)
    if ran.stderr.startswith("unshare:"):
        leave_out(f"no process numbers of one's own here: {ran.stderr.strip()}")
    assert ran.stdout == ("ended\n" if ends else f"lives {int(not healthy)}\n"), ran.stderr


@pytest.mark.parametrize("name", sorted(SERVICES))
def test_every_image_is_pinned_to_a_release(name: str) -> None:
    assert re.search(r":\d+\.\d+", SERVICES[name]["image"])


def test_every_image_can_be_pinned_to_its_bytes() -> None:
    digests = {f"{name}_IMAGE": f"{name.lower()}@sha256:{'0' * 64}" for name in ("POSTGRES", "REDIS", "PYTHON")}
    pinned = read_compose({**SECRETS, **digests})["services"]
    assert pinned["postgres"]["image"] == digests["POSTGRES_IMAGE"]
    assert pinned["redis"]["image"] == digests["REDIS_IMAGE"]
    for name in OURS:
        build = pinned[name]["build"]
        assert build["args"] == {"PYTHON_IMAGE": digests["PYTHON_IMAGE"]}
        assert build["dockerfile_inline"].startswith("ARG PYTHON_IMAGE\nFROM ${PYTHON_IMAGE} AS required\n")
    assert all(f"`{name}`" in OPERATION for name in digests)


def test_program_image_command_line_and_changelog_are_of_the_version_in_the_project_file() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert f"{project['name']} {project['version']}" == PROGRAM
    assert {SERVICES[name]["image"] for name in OURS} == {PROGRAM.replace(" ", ":")}
    assert CliRunner().invoke(app, ["--version"]).stdout == f"{PROGRAM}\n"
    changelog = (ROOT / "DEVELOPERS.md").read_text().split("\n## Changelog\n")[1]
    releases = re.findall(r"^### (.+)$", changelog, flags=re.MULTILINE)
    assert releases[0] == project["version"]
    assert releases == sorted(releases, key=lambda one: [*map(int, one.split("."))], reverse=True)


def test_the_version_is_written_nowhere_else_in_the_code() -> None:
    number = PROGRAM.split()[1]
    code = [path for folder in ("service", "worker") for path in (ROOT / folder).rglob("*.py")]
    assert len(code) > 300
    assert [path for path in code if number in path.read_text()] == []


def test_the_document_of_the_api_has_a_version_of_its_own_and_says_so() -> None:
    said = json.loads((ROOT / "openapi_examples" / "openapi.json").read_text())["info"]
    assert said["version"] == API_VERSION
    assert "The version of this document is the API's own" in said["description"]


def test_the_licence_of_the_code_and_of_each_font_is_named_and_whole() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["license"] == "Apache-2.0"
    named = {file for pattern in project["license-files"] for file in ROOT.glob(pattern)}
    assert named >= {ROOT / "LICENSE", *(font.parent / "LICENSE-DejaVu.txt" for font in ROOT.glob("worker/**/*.ttf"))}
    text = " ".join((ROOT / "LICENSE").read_text().split())
    # https://www.apache.org/licenses/LICENSE-2.0.txt: its head, its nine sections, its end.
    assert text.startswith("Apache License Version 2.0, January 2004 http://www.apache.org/licenses/")
    assert all(f" {number}. {head}" in text for number, head in enumerate(LICENCE_SECTIONS, start=1))
    assert "END OF TERMS AND CONDITIONS" in text


@pytest.mark.parametrize("name", OURS)
def test_every_part_of_ours_is_a_command_with_options_that_exist(name: str) -> None:
    command, *options = SERVICES[name]["command"]
    known = {option for parameter in get_command(app).get_command(None, command).params for option in parameter.opts}  # type: ignore[attr-defined]
    assert {option for option in options if option.startswith("--")} <= known


def test_the_image_does_not_run_as_root_and_installs_by_hash() -> None:
    recipe = SERVICES["api"]["build"]["dockerfile_inline"]
    assert re.search(r"^USER (?!0|root)", recipe, flags=re.MULTILINE)
    installs = re.findall(r"^RUN pip (.*)$", recipe, flags=re.MULTILINE)
    assert len(installs) == 3
    assert all(
        "--no-index --no-deps" in one or "--require-hashes -r /source/requirements.lock" in one for one in installs
    )


@pytest.mark.parametrize("name", OURS)
def test_every_part_of_ours_runs_without_capabilities_under_an_init(name: str) -> None:
    service = SERVICES[name]
    assert (service["cap_drop"], service["read_only"], service["init"]) == (["ALL"], True, True)
    assert service["security_opt"] == ["no-new-privileges:true"]


def test_an_image_is_made_of_what_it_copies_and_of_nothing_else_in_the_folder() -> None:
    copied = re.findall(r"^COPY ((?:[\w.]+ )+)/", SERVICES["api"]["build"]["dockerfile_inline"], flags=re.MULTILINE)
    let_in = let_into_image()
    assert let_in.names == {name for names in copied for name in names.split()}
    assert let_in.left_out == {"worker/demo"}
    assert all((ROOT / name).exists() for name in let_in.names | let_in.left_out)


@pytest.mark.parametrize("name", [".env", "secrets/seal.p12", "module/library.so", "docker-compose.override.yml"])
def test_no_secret_is_committed(name: str) -> None:
    ignored = subprocess.run(["git", "check-ignore", "--quiet", "--no-index", name], cwd=ROOT, check=False)
    assert ignored.returncode == 0


@pytest.mark.parametrize("lock", ["requirements.lock", "tests/requirements.lock"])
def test_a_lock_file_pins_every_package_by_hash_and_names_no_host(lock: str) -> None:
    text = (ROOT / lock).read_text()
    entries = re.split(r"\n(?=\S)", text)
    assert [entry for entry in entries if "==" in entry and "--hash=sha256:" not in entry] == []
    assert not re.search(r"https?://|file:|index-url|find-links", text)
