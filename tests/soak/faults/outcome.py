"""What a run did and found, as a table and as JSON."""

from dataclasses import dataclass, field
from pathlib import Path

import orjson
from rich.console import Console
from rich.table import Table

from tests.soak.faults.checks import Check
from tests.soak.faults.plan import Fault, Plan

JUDGED_WITHIN_S = 30.0


@dataclass(kw_only=True)
class Outcome:
    """What was done and how long it took, and what has to be true of it."""

    plan: Plan
    answered: int = 0
    asked_again: int = 0
    killed: dict[Fault, int] = field(default_factory=dict)
    seconds: float = 0.0
    judged_after_s: float = 0.0
    problems: list[str] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)

    @property
    def is_good(self) -> bool:
        """Tell whether all that has to be true is."""
        return not self.problems and bool(self.checks) and all(check.holds for check in self.all_checks())

    def all_checks(self) -> list[Check]:
        """Return the checks of what was kept, and those of the run itself."""
        kills, late_s = sum(self.killed.values()), self.judged_after_s
        late = () if late_s <= JUDGED_WITHIN_S else (f"judged {late_s:.1f} s after the last fault",)
        few = () if kills == self.plan.kills else (f"{self.plan.kills} were planned",)
        return [
            Check(claim="what was planned to be killed was", count=kills, against=few),
            Check(claim=f"all is judged within {JUDGED_WITHIN_S:g} s of the last fault", count=1, against=late),
            *self.checks,
        ]


def print_outcome(console: Console, outcome: Outcome) -> None:
    """Print the figures, then the claims."""
    plan = outcome.plan
    console.print(
        f"RECORDS={plan.records} KILLS={plan.kills} SEED={plan.seed}: {outcome.answered} records answered, "
        f"asked again {outcome.asked_again} times, judged {outcome.judged_after_s:.1f} s after the last fault, "
        f"{outcome.seconds:.0f} s in all",
        highlight=False,
    )
    console.print("killed: " + ", ".join(f"{fault.value} {count}" for fault, count in sorted(outcome.killed.items())))
    table = Table("", "claim", "held against", "what speaks against it")
    for check in outcome.all_checks():
        table.add_row("ok" if check.holds else "NO", check.claim, str(check.count), "\n".join(check.against))
    console.print(table)
    for problem in outcome.problems:
        console.print(f"problem: {problem}", style="bold red", markup=False, highlight=False)


def write_outcome(file: Path, outcome: Outcome) -> None:
    """Write the same as JSON."""
    document = {
        "records": outcome.plan.records,
        "kills": outcome.plan.kills,
        "seed": outcome.plan.seed,
        "answered": outcome.answered,
        "asked_again": outcome.asked_again,
        "killed": {fault.value: count for fault, count in sorted(outcome.killed.items())},
        "seconds": round(outcome.seconds, 1),
        "judged_after_s": round(outcome.judged_after_s, 1),
        "checks": [
            {"claim": one.claim, "holds": one.holds, "count": one.count, "against": one.against}
            for one in outcome.all_checks()
        ],
        "problems": outcome.problems,
        "is_good": outcome.is_good,
    }
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(orjson.dumps(document, option=orjson.OPT_INDENT_2) + b"\n")
