"""The same records give the same bytes: in any order, in any process, from either end."""

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.factories import Body, finished_fibre, make_otdr, make_splice, stored
from tests.unit.judgement.judging import judge

ROOT = Path(__file__).parents[3]


def busy_history() -> list[Body]:
    """Return a history with rework, several readings, void ones and several faults at once."""
    return [
        *finished_fibre(),
        make_splice(made_at="2025-03-02T08:00:00Z", estimate_db=0.3),
        make_splice(site="C2", made_at="2025-03-22T08:00:00Z", sleeve_shrunk=False),
        make_otdr(made_at="2025-03-21T08:00:00Z", pulse_ns=100, losses_db={"C1": 0.4}),
        make_otdr(made_at="2025-03-23T08:00:00Z", calibrated_until="2025-01-01"),
        make_otdr(fibre=2),
    ]


@pytest.mark.parametrize("seed", range(10))
def test_the_order_of_the_evidence_changes_no_byte(seed: int) -> None:
    expected = judge(busy_history())
    shuffled = busy_history()
    random.Random(seed).shuffle(shuffled)
    found = judge(shuffled)
    assert (found.content, found.digest, found.counts) == (expected.content, expected.digest, expected.counts)


@pytest.mark.parametrize("hash_seed", ["0", "1", "4242"])
def test_another_process_gives_the_same_digest(hash_seed: str) -> None:
    program = (
        "from tests.unit.judgement.judging import judge\n"
        "from tests.unit.judgement.test_determinism import busy_history\n"
        "print(judge(busy_history()).digest)"
    )
    found = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert found.stdout.strip() == judge(busy_history()).digest


def test_judging_changes_none_of_its_input() -> None:
    evidence = [stored(body) for body in busy_history()]
    copies = [stored(body) for body in busy_history()]
    judge(evidence)
    assert evidence == copies


def test_findings_come_in_order_of_criteria_then_of_the_route() -> None:
    findings = judge(busy_history()).document["findings"]
    order = ["SPLICE-1550", "TERM-1550", "LINK-1550", "OTDR-1550"]
    sites = ["A", "C1", "C2", "B"]
    keys = [
        (order.index(f["criterion"]), sites.index(f["site"]) if "site" in f else 0, f.get("position", 0))
        for f in findings
    ]
    assert keys == sorted(keys)
    assert all(finding["detail"] for finding in findings)
