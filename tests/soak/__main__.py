"""Change the judge at random places and count how many of the changes a test notices: `make mutants MINUTES=60`.

A run may be interrupted: with the same sources the next one goes on where it ended.
"""

import os
import shlex
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import chdir
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random, SystemRandom

import typer
from cosmic_ray.commands.init import init
from cosmic_ray.mutating import mutate_and_test
from cosmic_ray.testing import run_tests
from cosmic_ray.work_db import WorkDB
from cosmic_ray.work_item import TestOutcome, WorkItem, WorkResult

from tests.acceptance.figures import Share
from tests.soak.sources import MUTATED, copy_sources, modules_in, order_tests, restore

_FOLDER = Path("bench_output/soak")
# A pipe is nearly always a union of types in an annotation; a decorator makes a dataclass, which nothing runs without,
# or a cache, without which everything comes out the same. Neither kind of mutant says anything about the tests.
_LEFT_OUT = ("core/ReplaceBinaryOperator_BitOr", "core/RemoveDecorator")
# A change may make a loop endless: nothing takes so many times longer than all tests together.
_PATIENCE = 4


@dataclass(frozen=True, kw_only=True)
class Tally:
    """How many mutants of each folder were met, and which of them no test noticed."""

    met: int
    survivors: Sequence[tuple[WorkItem, WorkResult]]


def main(minutes: float = 60.0, seed: int | None = None) -> None:
    """Meet mutants in an order drawn from the seed until the time is up."""
    until = time.monotonic() + 60 * minutes
    chosen = SystemRandom().randrange(10**6) if seed is None else seed
    tree = copy_sources(_FOLDER.resolve())
    restore(tree)
    database = WorkDB(tree.with_suffix(".sqlite"), WorkDB.Mode.create)
    with chdir(tree):
        if not database.num_work_items:
            init(modules_in(tree), database, {})
        typer.echo(f"mutants of {' and '.join(MUTATED)}, drawn with SEED={chosen}")
        patience_s = _PATIENCE * _time_unchanged(tree.with_suffix(".seconds"))
        for item in _pending(database, chosen):
            if time.monotonic() > until:
                break
            database.set_result(item.job_id, _meet(item, patience_s=patience_s))
    _report(database, tree)
    database.close()


def _time_unchanged(kept: Path) -> float:
    """Return how long all tests take on unchanged sources, in seconds; they have to pass, once for one copy."""
    if not kept.exists():
        begin = time.monotonic()
        outcome, output = run_tests(_command(order_tests(MUTATED[0])), None)
        if outcome is not TestOutcome.SURVIVED:
            raise typer.Exit(_explain(f"the tests fail on unchanged sources:\n{output[-4000:]}"))
        kept.write_text(str(time.monotonic() - begin))
    return float(kept.read_text())


def _explain(said: str) -> int:
    typer.echo(said, err=True)
    return 1


def _pending(database: WorkDB, seed: int) -> list[WorkItem]:
    items = sorted(filter(_is_wanted, database.pending_work_items), key=_key)
    Random(seed).shuffle(items)
    return items


def _is_wanted(item: WorkItem) -> bool:
    mutation = item.mutations[0]
    return not mutation.operator_name.startswith(_LEFT_OUT) and not _is_signature_marker(item)


def _is_signature_marker(item: WorkItem) -> bool:
    """Tell whether a mutant's star is the one behind which parameters are named: it multiplies nothing."""
    mutation = item.mutations[0]
    line, column = mutation.start_pos
    source: str = _lines_of(str(mutation.module_path))[line - 1][column:]
    return source.startswith("*,")


@cache
def _lines_of(module: str) -> Sequence[str]:
    return Path(module).read_text(encoding="utf-8").splitlines()


def _key(item: WorkItem) -> tuple[str, str, int]:
    mutation = item.mutations[0]
    return str(mutation.module_path), mutation.operator_name, mutation.occurrence


def _meet(item: WorkItem, *, patience_s: float) -> WorkResult:
    command = _command(order_tests(str(item.mutations[0].module_path)))
    return mutate_and_test(item.mutations, command, patience_s)


def _command(tests: Sequence[str]) -> str:
    # The tests' own conftest starts servers, which no mutant here concerns, and takes longer to import than most
    # mutants live.
    options = ("-x", "-q", "--no-header", "--tb=no", "--confcutdir=tests/unit")
    return shlex.join(["nice", "-n", "19", sys.executable, "-m", "pytest", *options, *tests])


def _report(database: WorkDB, tree: Path) -> None:
    # A mutant that could not be made, or whose tests could not be started, was not met.
    told = {TestOutcome.SURVIVED, TestOutcome.KILLED}
    completed = [one for one in database.completed_work_items if one[1].test_outcome in told]
    results = [(item, result) for item, result in completed if _is_wanted(item)]
    wanted = sum(map(_is_wanted, database.work_items))
    for folder in MUTATED:
        own = [one for one in results if str(one[0].mutations[0].module_path).startswith(folder)]
        tally = Tally(met=len(own), survivors=sorted(_survivors(own), key=lambda one: _key(one[0])))
        if tally.met:
            typer.echo(f"{folder}: killed {Share(tally.met - len(tally.survivors), tally.met)}")
        for item, _ in tally.survivors:
            mutation = item.mutations[0]
            where = f"{mutation.module_path}:{mutation.start_pos[0]}"
            typer.echo(f"  not noticed: {where} {mutation.operator_name.removeprefix('core/')}")
    survivors = tree.with_suffix(".survivors.diff")
    survivors.write_text("\n".join(result.diff or "" for _, result in _survivors(results)))
    typer.echo(
        f"{len(results)} of {wanted} mutants met so far; what was changed unnoticed: {os.path.relpath(survivors)}"
    )


def _survivors(results: Sequence[tuple[WorkItem, WorkResult]]) -> Iterator[tuple[WorkItem, WorkResult]]:
    return (one for one in results if one[1].test_outcome is TestOutcome.SURVIVED)


if __name__ == "__main__":
    typer.run(main)
