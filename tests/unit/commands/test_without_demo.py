"""Nothing but the demo's own commands needs the demo: an image has none of it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
# A module that is `None` cannot be imported, as one that is not there.
WITHOUT = "import sys; sys.modules['worker.demo'] = None; from worker.commands.main import app; app()"


def run_without_demo(*words: str, folder: Path) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", WITHOUT, *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("command", ["demo", "serve"])
def test_without_the_demo_its_commands_say_so_in_a_sentence(command: str, tmp_path: Path) -> None:
    ran = run_without_demo(command, folder=tmp_path)
    assert ran.returncode == 2
    assert ran.stderr.startswith("The demo is no part of this installation") and "Traceback" not in ran.stderr
    assert list(tmp_path.iterdir()) == []


def test_without_the_demo_a_package_is_verified_all_the_same(tmp_path: Path) -> None:
    ran = run_without_demo("verify", "absent.pdf", "--trust", "absent.pem", folder=tmp_path)
    assert (ran.returncode, ran.stderr) == (2, "absent.pdf cannot be read: No such file or directory.\n")
