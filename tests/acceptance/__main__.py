"""Print the judge's figures by geometry: `python -m tests.acceptance [--routes 300] [--geometry NAME ...]`.

The figures of 300 routes each are kept in DEVELOPERS.md; tests run fewer.
"""

import argparse
import sys
import time
from collections.abc import Iterator

from tests.acceptance.figures import Share
from tests.acceptance.geometry_score import BINS, GeometryScore
from tests.acceptance.runs import run_geometries
from tests.simulator.geometry import GEOMETRIES


def main() -> None:
    """Score and print one geometry after the other."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--routes", type=int, default=300)
    parser.add_argument("--geometry", nargs="*", choices=GEOMETRIES, default=list(GEOMETRIES))
    parser.add_argument("--examples", type=int, default=3, help="how many of each kind of error to name")
    asked = parser.parse_args()
    begun_s = time.monotonic()
    for name, score in run_geometries(asked.geometry, routes=asked.routes):
        for line in describe(name, score, examples=asked.examples):
            sys.stdout.write(f"{line}\n")
        sys.stdout.write(f"  after {time.monotonic() - begun_s:.0f} s\n\n")
        sys.stdout.flush()


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
    yield f"  undetermined findings: {score.undetermined}; good fibres left open: {score.left_open}"
    yield f"    {', '.join(f'{reason} {count}' for reason, count in score.reasons.most_common())}"


def _named(what: str, errors: list[str], examples: int) -> Iterator[str]:
    for one in errors[:examples]:
        yield f"    {what}: {one}"


if __name__ == "__main__":
    main()
