"""Where the demo is not there, as in an image, its commands say so; that nothing else needs it, the wheel proves."""

import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from worker.commands.main import app


@pytest.mark.parametrize("command", ["demo", "serve"])
@pytest.mark.parametrize("absent", ["worker.demo", "worker.demo.run"])
def test_without_the_demo_its_commands_say_so_in_a_sentence(
    command: str, absent: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delitem(sys.modules, "worker.demo.run", raising=False)
    # A module that is `None` cannot be imported, as one that is not there.
    monkeypatch.setitem(sys.modules, absent, None)
    ran = CliRunner().invoke(app, [command])
    assert ran.exit_code == 2
    assert ran.stderr.startswith("The demo is no part of this installation")
    assert list(tmp_path.iterdir()) == []
