"""Print the judge's figures: `python -m tests.acceptance [--routes N] [--geometry NAME ...] [--people | --work-list]`.

The figures of 300 routes each are kept in DEVELOPERS.md; tests run fewer.
"""

import argparse
import sys
import time
from collections.abc import Iterator, Sequence

from tests.acceptance.figures import Share
from tests.acceptance.geometry_score import BINS, GeometryScore
from tests.acceptance.runs import run_geometries, run_people, run_work_lists
from tests.simulator.faults import PEOPLE
from tests.simulator.geometry import GEOMETRIES

_COLUMNS = (
    "geometry",
    "accepted to 3 sigma (expected)",
    "beyond 3 sigma",
    "on a wrong event",
    "good refused (expected)",
    "undetermined",
    "good left open",
    "suspected",
)


def main() -> None:
    """Score and print one geometry after the other."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--routes", type=int, default=300)
    parser.add_argument("--geometry", nargs="*", choices=GEOMETRIES, default=list(GEOMETRIES))
    parser.add_argument("--examples", type=int, default=3, help="how many of each kind of error to name")
    parser.add_argument("--people", action="store_true", help="what people do to papers, instead of geometries")
    parser.add_argument("--work-list", action="store_true", help="routes of each fault, whose work lists are done")
    asked = parser.parse_args()
    if asked.work_list:
        for kind, lists in run_work_lists(routes=asked.routes):
            sys.stdout.write("".join(f"{line}\n" for line in lists.describe(kind)))
            sys.stdout.flush()
        return
    if asked.people:
        for kind, people in run_people(PEOPLE, routes=asked.routes):
            sys.stdout.write("".join(f"{line}\n" for line in people.describe(kind)))
            sys.stdout.flush()
        return
    begun_s, rows = time.monotonic(), [_line(_COLUMNS), _line(["---"] * len(_COLUMNS))]
    for name, score in run_geometries(asked.geometry, routes=asked.routes):
        for line in describe(name, score, examples=asked.examples):
            sys.stdout.write(f"{line}\n")
        sys.stdout.write(f"  after {time.monotonic() - begun_s:.0f} s\n\n")
        sys.stdout.flush()
        rows.append(row(name, score))
    sys.stdout.write("\n".join([*rows, ""]))


def describe(name: str, score: GeometryScore, *, examples: int) -> Iterator[str]:
    """Say what routes of one geometry came to."""
    yield f"{name}: {score.routes} routes, {score.fibres} fibres, {score.findings} findings"
    for own, (low, high) in zip(score.bins, BINS, strict=True):
        verdict = "within" if own.is_kept else "MORE THAN"
        yield (
            f"  {low:.0f} to {high:.0f} sigma beyond the limit: accepted {len(own.accepted)} of {own.joints}, expected "
            f"{own.expected:.1f}, {verdict} the normal's {own.most}; undetermined {own.undetermined}"
        )
    yield from _named("accepted beyond 3 sigma", [one for own in score.bins[3:] for one in own.accepted], examples)
    yield f"  on a wrong event: {Share(len(score.wrong), score.placed)}"
    yield from _named("wrong", score.wrong, examples)
    yield (
        f"  good fibres refused: {Share(len(score.refused), score.good_fibres)}, expected {score.refused_expected:.2f}"
    )
    yield from _named("refused", score.refused, examples)
    yield f"  honest fibres suspected: {Share(len(score.suspected), score.fibres)}"
    yield from _named("suspected", score.suspected, examples)
    yield f"  undetermined findings: {score.undetermined}; good fibres left open: {score.left_open}"
    yield f"    {', '.join(f'{reason} {count}' for reason, count in score.reasons.most_common())}"


def row(name: str, score: GeometryScore) -> str:
    """Return a geometry's line in the table of DEVELOPERS.md."""
    near, far = score.bins[:3], score.bins[3:]
    expected = sum(own.expected for own in near)
    cells = (
        name,
        f"{sum(len(own.accepted) for own in near)} ({expected:.1f})",
        f"{sum(len(own.accepted) for own in far)} of {sum(own.joints for own in far)}",
        _percent(Share(len(score.wrong), score.placed), 3),
        f"{_percent(Share(len(score.refused), score.good_fibres), 1)} ({score.refused_expected:.1f})",
        _percent(score.undetermined, 2),
        _percent(score.left_open, 1),
        _percent(Share(len(score.suspected), score.fibres), 2),
    )
    return _line(cells)


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _percent(share: Share, places: int) -> str:
    low, high = share.interval
    return f"{share.count}: {low:.{places}%} to {high:.{places}%}".replace("%", "") + " %"


def _named(what: str, errors: list[str], examples: int) -> Iterator[str]:
    for one in errors[:examples]:
        yield f"    {what}: {one}"


if __name__ == "__main__":
    main()
