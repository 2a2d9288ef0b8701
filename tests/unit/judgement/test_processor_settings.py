"""Logarithms of arrays differ in the last bit between instruction sets; what is judged does not.

Tried with numpy 2.4: with AVX2 alone log10 gives the same bits as without, and only tanh others. The sets that change
logarithms come with AVX-512, so that the test says most where those are.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np

from tests.factories import (
    Body,
    bend_criterion,
    coefficient_criterion,
    density_criterion,
    difference_criterion,
    length_criterion,
    reflectance_criterion,
    return_loss_criterion,
    stray_criterion,
)
from tests.outside_tools import leave_out
from tests.simulator.contract import demo_criteria
from tests.simulator.large import simulate_large

ROOT = Path(__file__).parents[3]
FIBRES = 12
PROGRAM = """
import json, sys
from tests.acceptance.trials import judge_posted
from tests.unit.judgement.test_processor_settings import switchable_features
given = json.load(sys.stdin)
judged = [judge_posted(given, fibre=fibre) for fibre in range(1, given["design"]["fibre_count"] + 1)]
valued = {one["quantity"] for fibre in judged for one in fibre.document["findings"] if "value" in one or "low" in one}
print(json.dumps({
    "features": switchable_features(),
    "digests": [fibre.digest for fibre in judged],
    "valued": sorted(valued),
}))
"""


def all_criteria() -> Body:
    """Return the demo's criteria and one of every quantity that a trace decides, return loss worked out from it."""
    criteria = demo_criteria()
    criteria["criteria"] += [
        *(
            return_loss_criterion(code=f"RETURN-{nm}", basis="computed", limit_db=24.0, wavelength_nm=nm)
            for nm in (1310, 1550)
        ),
        coefficient_criterion(limit_db_per_km=0.22),
        reflectance_criterion(),
        stray_criterion(limit_db=0.05),
        bend_criterion(),
        length_criterion(limit_percent=4.0),
        density_criterion(),
        difference_criterion(),
    ]
    return criteria


def switchable_features() -> list[str]:
    """Return the instruction sets beyond the least one that numpy uses on this machine."""
    found: list[str] = np.show_config(mode="dicts")["SIMD Extensions"].get("found", [])
    return found


def judged_without(features: list[str], given: str) -> Body:
    """Judge in a process of its own that has some instruction sets switched off."""
    environment = {**os.environ, "NPY_DISABLE_CPU_FEATURES": ",".join(features)}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        input=given,
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    answer: Body = json.loads(done.stdout)
    return answer


def test_two_instruction_set_settings_give_the_same_digests() -> None:
    switched = switchable_features()
    if not switched:
        leave_out(f"numpy {np.__version__} uses no instruction set on this machine that can be switched off")
    route = simulate_large(fibres=FIBRES, closures=6, seed=17)
    given = json.dumps({"design": route.design, "criteria": all_criteria(), "records": list(route.records())})
    most, least = judged_without([], given), judged_without(switched, given)
    assert (most["features"], least["features"]) == (switched, [])
    assert most["digests"] == least["digests"]
    assert len(set(most["digests"])) == FIBRES
    assert {"return_loss", "reflectance", "attenuation_coefficient", "splice_loss", "link_attenuation"} <= set(
        most["valued"]
    )
