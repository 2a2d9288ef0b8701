"""What the README prints works as printed."""

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.outside_tools import require_tool

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()


@pytest.fixture
def folder_with_a_served_stack(tmp_path: Path) -> Iterator[Path]:
    """Run what `make serve` runs, from a folder of the test's own."""
    command = [sys.executable, "-m", "worker.commands.main", "serve", "--port", "0"]
    with subprocess.Popen(
        command, cwd=tmp_path, env=_environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as serve:
        try:
            give_up_at = time.monotonic() + 60
            while not _is_complete(tmp_path / "demo_output" / "serve.env"):
                assert serve.poll() is None and time.monotonic() < give_up_at, serve.stdout and serve.stdout.read()
                time.sleep(0.1)
            yield tmp_path
        finally:
            serve.send_signal(signal.SIGINT)
            serve.communicate(timeout=60)
    assert not (tmp_path / "demo_output" / "serve.env").exists()


def test_the_curl_commands_store_a_splice_and_list_it_to_be_made_again(folder_with_a_served_stack: Path) -> None:
    require_tool("curl")
    [script] = [block for block in re.findall(r"```sh\n(.*?)```", README, flags=re.DOTALL) if "curl" in block]
    post, look = script.split("\ncurl")[0] + "\ncurl" + script.split("\ncurl")[1], "\ncurl" + script.split("\ncurl")[2]
    names = ". demo_output/serve.env\n"
    assert '"outcome":"stored"' in _run(post, folder_with_a_served_stack)
    assert '"outcome":"already_stored"' in _run(post, folder_with_a_served_stack)
    give_up_at = time.monotonic() + 20
    while '"act":"re_splice"' not in (answer := _run(names + look, folder_with_a_served_stack)):
        assert time.monotonic() < give_up_at, answer
        time.sleep(0.1)
    assert '"act":"re_splice","sites":["C2"]' in answer


def _run(script: str, folder: Path) -> str:
    ran = subprocess.run(["bash", "-c", script], cwd=folder, capture_output=True, text=True, timeout=30, check=True)
    return ran.stdout


def _is_complete(file: Path) -> bool:
    return file.exists() and "BILLING" in file.read_text()


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}
