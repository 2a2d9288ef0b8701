"""The benchmarks still run and still give every row; how fast anything is, is not asserted here."""

import subprocess
import sys
from pathlib import Path

import orjson

_ROWS = [
    "posting",
    "posting again",
    "posting while a worker judges it",
    "splice to work list, quiet",
    "splice to work list, upload",
    "status, 304",
    "judging a whole route",
    "judging one new record",
    "settling",
    "package, table rows drawn",
    "package drawn, signed, verified",
    "package, its pages compared",
    "package, memory of comparing",
    "package job, memory of its process",
]
_WITHOUT_REQUIREMENT = {"posting while a worker judges it"}


def test_every_row_of_the_benchmarks_is_there_at_a_tiny_size(tmp_path: Path) -> None:
    output = tmp_path / "benchmarks.json"
    command = [sys.executable, "-m", "tests.benchmarks", "--fibres", "12", "--quick", "--output", str(output)]
    done = subprocess.run(
        command, cwd=Path(__file__).parents[2], capture_output=True, text=True, timeout=240, check=False
    )
    assert done.returncode == 0, done.stderr[-4000:]

    rows = orjson.loads(output.read_bytes())["rows"]
    assert [row["what"] for row in rows] == _ROWS
    for row in rows:
        assert row["fibres"] == 12
        assert row["figure"] > 0
        assert (row["is_reached"] is None) == (row["what"] in _WITHOUT_REQUIREMENT)
        assert row["what"] in done.stdout
