"""Measure everything, print one table, and leave the figures as JSON."""

import os
import platform
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import httpx
import orjson
import typer
from rich.console import Console
from rich.table import Table

from service.storage.session import make_engine
from tests.benchmarks.judging import measure_judging, measure_one_record, record_routes
from tests.benchmarks.own_world import run_own_world
from tests.benchmarks.packaging import measure_packages
from tests.benchmarks.posting import measure_posting
from tests.benchmarks.reaction import measure_reaction
from tests.benchmarks.rows import Row, Scale
from tests.benchmarks.status import measure_status
from worker.commands.processes import keep_what_is_loaded
from worker.demo.parties import open_project
from worker.demo.stack import run_stack

_PATIENCE_S = 60
_WORDS = {True: "[green]reached[/green]", False: "[red]not reached[/red]", None: ""}


def main(
    fibres: Annotated[str, typer.Option(help="Sizes of routes, with commas between.")] = "12,48,144",
    quick: Annotated[bool, typer.Option("--quick", help="Only show that everything still runs.")] = False,
    output: Annotated[Path, typer.Option(help="Where the figures are left.")] = Path("bench_output/benchmarks.json"),
) -> None:
    """Measure the main paths, as ratios in one run."""
    sizes = sorted({int(one) for one in fibres.split(",")})
    scale = Scale.quick(sizes) if quick else Scale(fibres=sizes)
    console, rows = Console(stderr=not sys.stdout.isatty()), []
    with console.status("measuring") as status:
        for row in _measure(scale):
            rows.append(row)
            status.update(f"measured: {row.what}")
    _print(rows)
    output.parent.mkdir(parents=True, exist_ok=True)
    figures = [asdict(row) | {"required": row.required, "is_reached": row.is_reached} for row in rows]
    document = {"machine": _machine(), "is_quick": quick, "rows": figures}
    output.write_bytes(orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n")


def _measure(scale: Scale) -> Iterator[Row]:
    with run_stack(concurrency=_cores()) as stack, httpx.Client(base_url=stack.base_url, timeout=_PATIENCE_S) as http:
        parties = open_project(http, stack.administrator)
        # As the service does when it starts: the references run in this process.
        keep_what_is_loaded()
        engine = make_engine(stack.settings.database_url.get_secret_value(), pool_size=1)
        yield from measure_posting(parties, engine, scale)
        yield from measure_reaction(parties, engine, scale)
        yield from measure_status(parties, engine, stack.settings, scale)
        engine.dispose()
    with run_own_world() as world:
        routes = record_routes(world, scale.fibres)
        yield from measure_judging(world, routes, scale)
        yield from measure_one_record(world, routes, scale)
        yield from measure_packages(world, routes, scale)


def _print(rows: list[Row]) -> None:
    table = Table(title=f"Benchmarks: {_machine()}", title_justify="left")
    for name in ("what", "fibres", "measured", "against", "figure", "asked", ""):
        table.add_column(name, justify="right" if name in {"fibres", "figure", "asked"} else "left")
    for row in rows:
        size = "" if row.fibres is None else str(row.fibres)
        figure = f"{row.figure:,.0f}" if row.figure >= 100 else f"{row.figure:.2f}"
        said = f"{figure} {row.unit}".rstrip()
        table.add_row(row.what, size, row.measured, row.reference, said, row.required, _WORDS[row.is_reached])
    # A pipe has no width of its own; a table cut to 80 columns says nothing.
    console = Console() if sys.stdout.isatty() else Console(width=180)
    console.print(table)


def _machine() -> str:
    return f"{_cores()} cores, {platform.machine()}, Python {platform.python_version()}"


def _cores() -> int:
    return os.cpu_count() or 1


if __name__ == "__main__":
    typer.run(main)
