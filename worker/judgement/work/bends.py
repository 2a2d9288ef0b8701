"""Losses in a closure that are a bend before they are a splice: far larger at the longer wavelength.

A fusion splice reads about the same at 1310 and 1550 nm, a bend far more at the longer one; so a fibre that lies too
tight is laid anew and tested before anybody cuts it.
"""

from collections.abc import Iterable, Iterator, Sequence
from enum import Enum, auto
from typing import NamedTuple

from service.vocabulary.criteria.joints import BendCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.words import Act
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import TENTHS_PER_MDB
from worker.judgement.rules.attempts import latest_splice
from worker.judgement.traces.places import Place
from worker.judgement.work.items import Cause, beyond_limit, cause_of

# So much more, and half as much again, is no splice: that of one offset loses less at the longer wavelength, whose mode
# field is wider. Both figures are common practice, no source.
_FAR_ABOVE_TENTH_MDB = 50 * TENTHS_PER_MDB
_TIMES = (3, 2)


class MeanLoss(NamedTuple):
    """What a joint loses at a wavelength by the mean of both directions, within bounds."""

    wavelength_nm: int
    low_tenth_mdb: int
    high_tenth_mdb: int


def final_means(fibre: FibreMeasured, place: Place) -> list[MeanLoss]:
    """Return what a place loses at each wavelength at which that is proven, by wavelength."""
    wavelengths = sorted({trace.wavelength_nm for trace in fibre.history.traces})
    known = [(nm, fibre.loss_at(place, wavelength_nm=nm)) for nm in wavelengths]
    return [MeanLoss(nm, loss.low_tenth_mdb, loss.high_tenth_mdb) for nm, loss in known if loss.reason is None]


class BendShown(NamedTuple):
    """Two wavelengths of which the longer one loses so much more that a bend is there."""

    short_nm: int
    long_nm: int


def is_far_above(loss: MeanLoss, other: MeanLoss) -> bool:
    """Tell whether a loss is so far above the one at another wavelength that no splice makes the difference."""
    times, of = _TIMES
    is_far = loss.low_tenth_mdb - other.high_tenth_mdb >= _FAR_ABOVE_TENTH_MDB
    return is_far and loss.low_tenth_mdb * of >= other.high_tenth_mdb * times


def bends_shown(means: Sequence[MeanLoss], own: Iterable[Finding]) -> list[BendShown]:
    """Return what shows a bend at a joint: its losses, or a criterion about bends that it breaks."""
    pairs = [(short, long) for short in means for long in means if short.wavelength_nm < long.wavelength_nm]
    by_losses = [
        BendShown(short.wavelength_nm, long.wavelength_nm) for short, long in pairs if is_far_above(long, short)
    ]
    criteria = [one.criterion for one in own if one.is_bad]
    by_criteria = [
        BendShown(one.short_wavelength_nm, one.long_wavelength_nm) for one in criteria if isinstance(one, BendCriterion)
    ]
    return [*by_losses, *by_criteria]


def splice_or_bend(
    fibre: FibreMeasured, place: Place, joint: Joint, cause: Cause, shown: Sequence[BendShown], *, at_nm: int
) -> Iterator[tuple[Act, Cause]]:
    """Give what a loss beyond its limit asks for: while a bend shows, to lay the fibre anew before it is cut.

    A bend loses something at the shorter wavelength too, so that nobody knows the splice's own loss before.
    """
    bend = next((one for one in shown if at_nm in one), None) if place.is_closure else None
    if bend is None:
        yield Act.RE_SPLICE, cause
        return
    other = f"{bend.short_nm} nm far less" if at_nm == bend.long_nm else f"{bend.long_nm} nm far more"
    said = f"{cause.clause}, and at {other}: a bend before it is a splice"
    yield from _relief_or_splice(fibre, place, joint, cause, said, bend)


def bend_causes(
    fibre: FibreMeasured, place: Place, joint: Joint, own: Iterable[Finding]
) -> Iterator[tuple[Act, Cause]]:
    """Give what a bend at a joint asks for by the criteria about bends that it breaks."""
    for finding in own:
        criterion = finding.criterion
        if finding.is_bad and isinstance(criterion, BendCriterion):
            bend = BendShown(criterion.short_wavelength_nm, criterion.long_wavelength_nm)
            cause = cause_of(finding, f"{finding.judged.detail}: the difference {beyond_limit(finding)}")
            yield from _relief_or_splice(fibre, place, joint, cause, cause.clause, bend)


def _relief_or_splice(
    fibre: FibreMeasured, place: Place, joint: Joint, cause: Cause, said: str, bend: BendShown
) -> Iterator[tuple[Act, Cause]]:
    match relief_of(fibre, place, joint, at_nm=bend.long_nm):
        case Relief.ASKED:
            yield Act.RELIEVE_BEND, cause._replace(clause=said)
        case Relief.HELPED_NOT:
            told = f"{cause.clause}, tested again after its bend was to be relieved"
            yield Act.RE_SPLICE, cause._replace(clause=told)


class Relief(Enum):
    """How far the work on a bend has come: to be done, done and not tested since, or done and of no help."""

    ASKED = auto()
    UNTESTED = auto()
    HELPED_NOT = auto()


def relief_of(fibre: FibreMeasured, place: Place, joint: Joint, *, at_nm: int) -> Relief:
    """Tell by tests and openings of the closure since the splice whether a bend that shows was relieved.

    Tested, opened for the fibre, and tested again, it was. Where no lid is recorded, tested twice with the same
    settings: nobody tests again what nobody touched.
    """
    splice = latest_splice(fibre, joint)
    since = "" if splice is None else splice.stamp.made_at
    tests = [
        trace
        for trace in fibre.history.traces
        if trace.wavelength_nm == at_nm
        and not trace.is_ended
        and trace.stamp.made_at > since
        and trace.low_index < place.site_index < trace.high_index
    ]
    acts = fibre.history.lid_acts.get(joint.site, ())
    if not any(act.is_sealed for act in acts):
        return Relief.HELPED_NOT if is_tested_twice(tests) else Relief.ASKED
    tested_at = [trace.stamp.made_at for trace in tests]
    openings = [act.stamp.made_at for act in acts if act.reaches and not (act.is_splicing or act.is_ended)]
    known = [at for at in openings if at > since and any(earlier < at for earlier in tested_at)]
    if not known:
        return Relief.ASKED
    if max(tested_at) > max(known):
        return Relief.HELPED_NOT
    return Relief.UNTESTED if fibre.validity.is_sealed(joint.site) else Relief.ASKED


def is_tested_twice(traces: Iterable[Trace]) -> bool:
    """Tell whether a trace was taken again with the same settings."""
    alike = [(trace.wavelength_nm, trace.is_forward, trace.pulse_ns, trace.ends) for trace in traces]
    return len(set(alike)) < len(alike)
