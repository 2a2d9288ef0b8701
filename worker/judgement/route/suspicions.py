"""What looks unlikely in honest work, from the outside of all fibres' tests together; nothing is decided by it."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby, pairwise

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.quantities import round_half_even
from worker.judgement.fibre.contributions import Contributions, EstimateSums
from worker.judgement.numbers.exact import db_text
from worker.judgement.route.copies import (
    MOST_NAMED,
    Measured,
    nearly_same_readings,
    readings_by_side,
    same_readings,
    same_traces,
    write_suspicion,
)
from worker.judgement.route.repeated_losses import repeated_link_losses
from worker.judgement.route.swapped import swapped_directions

# Enough to see what is the matter; each says how many there are.
MOST_OF_A_KIND = 20
# Times kept to the second may be one second off at each end.
_CLOCK_STEP_US = 1_000_000
# How long one file takes to save or to import at most, common practice, no source.
_MOST_SAVING_US = 5_000_000
_US_PER_S = 1_000_000
_US_PER_TENTH = 100_000
_LEAST_SPLICES = 30
_LEAST_DRIFT_TENTH_MDB = 500
_LEAST_Z = 5

# An instrument, and its traces that began before others had ended.
_Overlaps = tuple[str, list[tuple[Measured, Measured]]]


def suspicions_of(contributions: Mapping[int, Contributions | None]) -> list[Suspicion]:
    """Return what is seen, at most so many of each kind; fibres come in order of number."""
    known = {fibre: own for fibre, own in contributions.items() if own is not None}
    measured = [Measured(fibre, trace) for fibre, own in known.items() for trace in own.traces]
    by_side, overlaps = readings_by_side(measured), list(_overlaps(measured))
    found = [
        same_traces(measured),
        same_readings(measured),
        nearly_same_readings(by_side),
        swapped_directions(by_side),
        repeated_link_losses(known),
        _too_close(overlaps, SuspicionKind.TWO_FIBRES_AT_ONCE, "measured two fibres at once", on_one_fibre=False),
        _too_close(
            overlaps,
            SuspicionKind.FASTER_THAN_AVERAGING,
            "took a trace faster than its averaging time",
            on_one_fibre=True,
        ),
        _drifting(known),
        _labelled_otherwise(measured),
        *_of_one_fibre(known),
    ]
    return [one for of_kind in found for one in _bounded(list(of_kind))]


def _too_close(overlaps: list[_Overlaps], kind: SuspicionKind, said: str, *, on_one_fibre: bool) -> Iterator[Suspicion]:
    """Find instruments whose traces overlap in time: on two fibres, or on one that was averaged for longer."""
    for instrument, pairs in overlaps:
        own = [(one, other) for one, other in pairs if (one.fibre == other.fibre) is on_one_fibre]
        if own:
            times = "once" if len(own) == 1 else f"{len(own)} times"
            yield _timing(kind, own, f"{instrument} {said} {times}")


def _drifting(contributions: Mapping[int, Contributions]) -> Iterator[Suspicion]:
    r"""Find splicers whose estimates since a calibration are off the measured means for certain, and by a lot.

    Said from 30 splices on, where the mean difference is above 0.05 dB (common practice, no source) and
    :math:`z = \bar d\,/\,(s/\sqrt n)` above 5. By Student's distribution with 29 degrees of freedom or more that has
    a chance of 2.6e-5 at most, taking the differences for independent and normal around 0.
    """
    estimates: dict[tuple[str, str], list[tuple[int, EstimateSums]]] = defaultdict(list)
    for fibre, contributed in contributions.items():
        for one in contributed.estimates:
            estimates[one.splicer, one.calibration].append((fibre, one))
    for (splicer, calibration), own in sorted(estimates.items()):
        splices = sum(one.splices for _, one in own)
        above_tenth_mdb = sum(one.sum_tenth_mdb for _, one in own)
        if not _is_drift(splices, above_tenth_mdb, sum_of_squares=sum(one.sum_of_squares for _, one in own)):
            continue
        mean = db_text(round_half_even(abs(above_tenth_mdb), unit=splices))
        since = f"since its calibration {calibration}" if calibration else "with no calibration recorded"
        yield Suspicion(
            kind=SuspicionKind.ESTIMATES_DRIFT,
            fibres=tuple(sorted({fibre for fibre, _ in own})[:MOST_NAMED]),
            records=(calibration,) if calibration else (),
            detail=f"the estimates of {splicer} {since} are on average {mean} dB "
            f"{'above' if above_tenth_mdb > 0 else 'below'} the measured means of {splices} splices",
            chance="at most 3e-5, taking the differences for independent and normal around zero",
        )


def _is_drift(splices: int, above_tenth_mdb: int, *, sum_of_squares: int) -> bool:
    if splices < _LEAST_SPLICES or abs(above_tenth_mdb) <= _LEAST_DRIFT_TENTH_MDB * splices:
        return False
    squared = above_tenth_mdb**2
    return squared * (splices - 1) > _LEAST_Z**2 * (splices * sum_of_squares - squared)


def _labelled_otherwise(measured: list[Measured]) -> Iterator[Suspicion]:
    """Find fibres with traces whose own file names another fibre."""
    unlike = [one for one in measured if one.trace.labelled_fibre not in {None, one.fibre}]
    for fibre, own in groupby(unlike, key=lambda one: one.fibre):
        group = list(own)
        labels = sorted({one.trace.labelled_fibre for one in group if one.trace.labelled_fibre is not None})
        yield write_suspicion(
            SuspicionKind.LABELLED_OTHERWISE,
            group,
            f"{_carry(len(group), fibre, ' or '.join(map(str, labels)))} own file",
            "a slip in naming files happens in honest work; no chance is reckoned",
        )


def _carry(count: int, fibre: int, labels: str) -> str:
    if count == 1:
        return f"1 trace posted for fibre {fibre} carries the number {labels} in its"
    return f"{count} traces posted for fibre {fibre} carry the number {labels} in their"


def _of_one_fibre(contributions: Mapping[int, Contributions]) -> Iterator[list[Suspicion]]:
    """Give what is suspected of single fibres, kind by kind; what is said of several in the same words, once."""
    alike: dict[Suspicion, list[int]] = defaultdict(list)
    for own in contributions.values():
        for one in own.suspicions:
            alike[one._replace(fibres=())] += one.fibres
    seen = [_of_all(one, fibres) for one, fibres in alike.items()]
    for kind in SuspicionKind:
        yield [one for one in seen if one.kind is kind]


def _of_all(said: Suspicion, fibres: list[int]) -> Suspicion:
    detail = said.detail if len(fibres) == 1 else f"{said.detail}: {len(fibres)} fibres"
    return said._replace(fibres=tuple(fibres[:MOST_NAMED]), detail=detail)


def _overlaps(measured: list[Measured]) -> Iterator[_Overlaps]:
    """Give each instrument's traces that began before the one before them had ended, with that one."""
    # By clock, for only times of one clock tell what came first.
    in_order = sorted(
        measured, key=lambda one: (one.trace.instrument, one.trace.clock, one.trace.ended_at_us, one.trace.record)
    )
    for (instrument, _), own in groupby(in_order, key=lambda one: (one.trace.instrument, one.trace.clock)):
        pairs = [
            (before[-1], act[0])
            for before, act in pairwise(_acts(own))
            if _begins_before_end(before[-1], act) and _is_measuring(before) and _is_measuring(act)
        ]
        if pairs:
            yield instrument, pairs


def _acts(in_order: Iterator[Measured]) -> Iterator[list[Measured]]:
    """Put together what was kept as fast as files are saved or imported: both wavelengths of a fibre, a whole batch."""
    act: list[Measured] = []
    for one in in_order:
        if act and one.trace.ended_at_us - act[-1].trace.ended_at_us > _MOST_SAVING_US:
            yield act
            act = []
        act.append(one)
    if act:
        yield act


def _is_measuring(act: list[Measured]) -> bool:
    """Tell whether the times of an act are those of a test: of a batch they say when it was imported."""
    return len({(one.fibre, one.trace.is_forward) for one in act}) == 1


def _begins_before_end(before: Measured, act: list[Measured]) -> bool:
    began_at_us = act[0].trace.ended_at_us - max(one.trace.averaging_us for one in act)
    return began_at_us + _CLOCK_STEP_US < before.trace.ended_at_us


def _timing(kind: SuspicionKind, pairs: list[tuple[Measured, Measured]], said: str) -> Suspicion:
    before, after = pairs[0]
    apart_us = after.trace.ended_at_us - before.trace.ended_at_us
    group = [one for pair in pairs for one in pair]
    first = (
        f"first on fibre {after.fibre}, {_seconds_text(apart_us)} after a trace on fibre {before.fibre} and averaged "
        f"for {_seconds_text(after.trace.averaging_us)}"
    )
    chance = "none, where clocks are right and a trace is stored when it is made"
    return write_suspicion(kind, group, f"{said}: {first}", chance)


def _seconds_text(time_us: int) -> str:
    return f"{time_us // _US_PER_S}.{time_us % _US_PER_S // _US_PER_TENTH} s"


def _bounded(found: Sequence[Suspicion]) -> list[Suspicion]:
    kept = list(found[:MOST_OF_A_KIND])
    if len(found) > len(kept):
        kept[-1] = kept[-1]._replace(detail=f"{kept[-1].detail}; and {len(found) - len(kept)} more like these")
    return kept
