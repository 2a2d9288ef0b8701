"""Check each hostile upload in a folder as the step does, and print what became of it: `upload_check.py FOLDER`."""

import json
import os
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from service.vocabulary.signatures import SignatureLevel
from worker.sealing.foreign_files import check_in_limits
from worker.signing.check.uploaded import Expected
from worker.signing.fields import ENGINEER_FIELD


def _checked(folder: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    now = datetime.now(UTC)
    expected = Expected(
        current=(folder / "current.pdf").read_bytes(),
        field=ENGINEER_FIELD,
        fingerprints=[],
        signed_before=[],
        level=SignatureLevel.B_B,
        earliest=now - timedelta(days=1),
        latest=now + timedelta(days=1),
    )
    for file in folder.glob("*.hostile"):
        before_s = _computed_s()
        report = check_in_limits(file.read_bytes(), expected=expected, come_forward=lambda: None, trust=[], now=now)
        [problem] = report.problems
        yield file.stem, {"problem": problem, "cpu_s": _computed_s() - before_s}


def _computed_s() -> float:
    took = os.times()
    return took.children_user + took.children_system


if __name__ == "__main__":
    print(json.dumps(dict(_checked(Path(sys.argv[1])))))
