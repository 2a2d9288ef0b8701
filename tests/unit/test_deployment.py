"""The deployment's text: there is no Docker engine to run it on where the tests run, so what can be read is checked."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml
from typer.main import get_command

from worker import PROGRAM
from worker.commands.main import app

ROOT = Path(__file__).parents[2]
COMPOSE: Any = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES: dict[str, Any] = COMPOSE["services"]
OURS = ("migrate", "api", "relay", "worker", "reader")


def test_the_topology_is_the_one_described() -> None:
    assert set(SERVICES) == {"postgres", "redis", *OURS}
    assert "redis" not in SERVICES["api"]["depends_on"]
    assert "REDIS_URL" not in SERVICES["api"]["environment"]


@pytest.mark.parametrize("name", sorted(set(SERVICES) - {"migrate"}))
def test_every_part_that_stays_has_a_health_check(name: str) -> None:
    assert SERVICES[name]["healthcheck"]["test"]


@pytest.mark.parametrize("name", sorted(SERVICES))
def test_every_image_is_pinned_to_a_release(name: str) -> None:
    assert re.search(r":\d+\.\d+", SERVICES[name]["image"])


def test_code_image_and_distribution_are_of_one_version() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert f"{project['name']} {project['version']}" == PROGRAM
    assert {SERVICES[name]["image"] for name in OURS} == {PROGRAM.replace(" ", ":")}


@pytest.mark.parametrize("name", OURS)
def test_every_part_of_ours_is_a_command_with_options_that_exist(name: str) -> None:
    command, *options = SERVICES[name]["command"]
    known = {option for parameter in get_command(app).commands[command].params for option in parameter.opts}  # type: ignore[attr-defined]
    assert {option for option in options if option.startswith("--")} <= known


def test_the_image_does_not_run_as_root_and_installs_by_hash() -> None:
    recipe = SERVICES["api"]["build"]["dockerfile_inline"]
    assert re.search(r"^USER (?!0|root)", recipe, flags=re.MULTILINE)
    assert "--require-hashes -r /app/requirements.lock" in recipe


@pytest.mark.parametrize("lock", ["requirements.lock", "tests/requirements.lock"])
def test_a_lock_file_pins_every_package_by_hash_and_names_no_host(lock: str) -> None:
    text = (ROOT / lock).read_text()
    entries = re.split(r"\n(?=\S)", text)
    assert [entry for entry in entries if "==" in entry and "--hash=sha256:" not in entry] == []
    assert not re.search(r"https?://|file:|index-url|find-links", text)
