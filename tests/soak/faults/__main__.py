"""The long run: `make soak RECORDS=20000 KILLS=200 SEED=…`."""

from pathlib import Path
from random import SystemRandom
from typing import Annotated

import typer
from rich.console import Console

from tests.soak.faults.outcome import print_outcome, write_outcome
from tests.soak.faults.plan import Fault, Plan
from tests.soak.faults.run import run_faults
from worker.logs import start_logging

_ALL = list(Fault)
_FILE = Path("bench_output/soak/faults.json")


def main(
    records: int = 20_000,
    kills: int = 200,
    seed: int | None = None,
    fault: Annotated[list[Fault], typer.Option()] = _ALL,
) -> None:
    """Run once and print what came of it; the same seed draws the same faults in the same order."""
    start_logging()
    console = Console()
    chosen = SystemRandom().randrange(10**6) if seed is None else seed
    plan = Plan(records=records, kills=kills, seed=chosen, faults=fault)
    console.print(f"{records} records, {kills} kills, SEED={plan.seed}", highlight=False)
    outcome = run_faults(plan, say=lambda sentence: console.print(sentence, style="dim", markup=False))
    print_outcome(console, outcome)
    write_outcome(_FILE, outcome)
    console.print(f"{_FILE} holds the same as JSON", style="dim", highlight=False)
    if not outcome.is_good:
        raise typer.Exit(1)


if __name__ == "__main__":
    typer.run(main)
