"""How the story is told in the terminal: who did what, and how far it has come."""

from collections.abc import Callable, Sequence
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

_WHO_WIDTH = 11
_MARKS = {"conforming": "●", "accepted": "●", "nonconforming": "○", "refused": "○"}


class Narrator:
    """Prints what happens above a progress bar."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=30),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
            console=console,
            transient=True,
        )

    def play(self, scenes: Sequence[tuple[str, Callable[[], None]]]) -> None:
        """Play one scene after the other under its title; one that does not hold raises, and ends the story."""
        task = self._progress.add_task("", total=len(scenes))
        with self._progress:
            for title, scene in scenes:
                self._progress.update(task, description=title)
                self._console.print()
                self._console.print(Text(title, style="bold"))
                scene()
                self._progress.advance(task)

    def say(self, who: str, what: str) -> None:
        """Say what somebody did or heard."""
        table = Table.grid(padding=(0, 1))
        table.add_column(width=_WHO_WIDTH, style="cyan", justify="right")
        table.add_column()
        table.add_row(who, Text(what))
        self._console.print(table)

    def show(self, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Show a table under what was said."""
        table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
        for heading in headings:
            table.add_column(heading)
        for row in rows:
            table.add_row(*(Text(cell) for cell in row))
        self._console.print(Padding(table, (0, 0, 0, _WHO_WIDTH + 1)))

    def show_work(self, orders: Sequence[Any]) -> None:
        """Show what a crew has to do, in the work list's own words, with the colours it sees."""
        for order in orders:
            waits = "" if order["is_ready"] else "then "
            self._say_under(f"{waits}{order['said']}: {order['places']}")
            for reason in order["why"]:
                self._say_under(f"  {reason['because']}", style="dim")

    def show_segments(self, status: Any) -> None:
        """Show where each segment is."""
        rows = [
            (
                f"{_MARKS.get(segment['status'], '◌')} {segment['status']}",
                segment["id"],
                *(str(segment["counts"][outcome]) for outcome in ("conforming", "nonconforming", "undetermined")),
            )
            for segment in status["segments"]
        ]
        self.show(("", "segment", "conforming", "nonconforming", "undetermined"), rows)

    def _say_under(self, what: str, *, style: str = "") -> None:
        self._console.print(Padding(Text(what, style=style), (0, 0, 0, _WHO_WIDTH + 1)))
