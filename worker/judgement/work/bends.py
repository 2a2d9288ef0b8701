"""Losses in a closure that are a bend before they are a splice: far larger at the longer wavelength.

A fusion splice reads about the same at 1310 and 1550 nm, a bend far more at the longer one; so a fibre that lies too
tight is laid anew and tested before anybody cuts it.
"""

from collections.abc import Sequence
from enum import Enum, auto
from typing import NamedTuple

from service.vocabulary.design.layout import Joint
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import TENTHS_PER_MDB
from worker.judgement.rules.attempts import latest_splice
from worker.judgement.traces.places import Place

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


def bend_shown(means: Sequence[MeanLoss], *, at_nm: int, limit_mdb: int) -> MeanLoss | None:
    """Return the loss at a shorter wavelength beside which that at `at_nm` is a bend's.

    None where it is the splice's: then no shorter wavelength keeps the limit, and laying it anew would not help.
    """
    long = next((one for one in means if one.wavelength_nm == at_nm), None)
    if long is None:
        return None
    times, of = _TIMES
    for short in means:
        is_kept = short.wavelength_nm < at_nm and short.high_tenth_mdb <= limit_mdb * TENTHS_PER_MDB
        is_far = long.low_tenth_mdb - short.high_tenth_mdb >= _FAR_ABOVE_TENTH_MDB
        if is_kept and is_far and long.low_tenth_mdb * of >= short.high_tenth_mdb * times:
            return short
    return None


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
        alike = [(trace.is_forward, trace.pulse_ns, trace.ends) for trace in tests]
        return Relief.HELPED_NOT if len(set(alike)) < len(alike) else Relief.ASKED
    tested_at = [trace.stamp.made_at for trace in tests]
    openings = [act.stamp.made_at for act in acts if act.reaches and not (act.is_splicing or act.is_ended)]
    known = [at for at in openings if at > since and any(earlier < at for earlier in tested_at)]
    if not known:
        return Relief.ASKED
    if max(tested_at) > max(known):
        return Relief.HELPED_NOT
    return Relief.UNTESTED if fibre.validity.is_sealed(joint.site) else Relief.ASKED
