"""What a fibre loses between its joints as its traces state it: a loss that was left out of them hides there."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.left_out import TracedLoss, compare, traced_both_ways
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.validity import Side
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, mean_tenth_mdb
from worker.judgement.traces.aligned_trace import AlignedTrace, Reading


class GlassLosses(NamedTuple):
    """What one fibre loses beside its events at one wavelength, mean of both directions, in 0.0001 dB.

    By section as the traces state it, over the whole route as their totals leave it, and what source and meter show
    beyond the traces; none where it is not known.
    """

    wavelength_nm: int
    sections: tuple[int | None, ...]
    route: int | None
    beyond: int | None


def limits_traced_loss(criterion: Criterion) -> bool:
    """Tell whether a criterion limits losses that traces show at its wavelength."""
    return criterion.limits_loss and any(test.name == "otdr" for test in criterion.required_tests)


def limited_wavelengths_nm(criteria: Sequence[Criterion]) -> tuple[int, ...]:
    """Return the wavelengths at which criteria limit what a fibre or its joints lose, the shortest first."""
    wavelengths = {one.wavelength_nm for one in criteria if isinstance(one, LinkAttenuationCriterion)}
    wavelengths |= {getattr(one, "wavelength_nm", 0) for one in criteria if limits_traced_loss(one)}
    return tuple(sorted(wavelengths))


def glass_losses(fibre: FibreMeasured, wavelengths_nm: Sequence[int]) -> Iterator[GlassLosses]:
    """Give what a fibre loses beside its events at some wavelengths."""
    for nm in wavelengths_nm:
        there, back = (_stated(fibre, Side(nm, is_forward)) for is_forward in (True, False))
        sections = tuple(
            None if one is None or other is None else (one + other) * length_um // (2 * PDB_PER_TENTH_MDB)
            for one, other, length_um in zip(there, back, fibre.layout.section_lengths_um, strict=True)
        )
        traced = traced_both_ways(fibre, wavelength_nm=nm, span=fibre.whole)
        beside = compare(fibre, wavelength_nm=nm, span=fibre.whole)
        beyond = None
        if beside is not None:
            beyond = mean_tenth_mdb(first_mdb=beside.whole_mdb, second_mdb=-beside.parts_mdb)
        found = GlassLosses(nm, sections, _by_totals(traced), beyond)
        if found.route is not None or found.beyond is not None or any(one is not None for one in sections):
            yield found


def _stated(fibre: FibreMeasured, side: Side) -> list[int | None]:
    """Return what one direction states of each section, in 0.001 dB/km: the shortest pulse that states anything."""
    found: list[int | None] = [None] * len(fibre.layout.design.sections)
    for trace in fibre.traces.of_side(side).traces:
        aligned = fibre.aligned(trace)
        is_sound = aligned.shortfall is None and aligned.unlike is None
        if is_sound and fibre.validity.fault_over(trace) is None:
            _fill(found, aligned)
        if None not in found:
            break
    return found


def _fill(found: list[int | None], aligned: AlignedTrace) -> None:
    """Fill in what a trace states that nothing states yet: an event, of all that lies behind the one before it."""
    trace, readings = aligned.trace, aligned.readings
    (near, far), step = trace.ends, 1 if trace.is_forward else -1
    behind: list[int] = []
    no_cord_at = far if trace.receive is None else None
    plain = {} if aligned.plain is None else aligned.plain.stated_by_site()
    for site in range(near + step, far + step, step):
        behind.append(site - 1 if step > 0 else site)
        if site == no_cord_at:
            stated = trace.ends_shown[0].mdb_per_km if trace.ends_shown else None
        elif site in plain:
            stated = plain[site]
        else:
            shown = readings.get(site)
            if isinstance(shown, Reading) and shown.events:
                stated = shown.events[0].mdb_per_km
            elif shown is None or shown is Reason.NOISE_NOT_KNOWN or isinstance(shown, Reading):
                # The fibre runs through, or its joint is too good to be seen: the next event states all of it as one.
                continue
            else:
                stated = None
        for section in behind:
            if found[section] is None:
                found[section] = stated
        behind.clear()


def _by_totals(traced: tuple[TracedLoss, ...] | None) -> int | None:
    left = [one.left_mdb for one in traced or () if one.left_mdb is not None]
    return mean_tenth_mdb(first_mdb=left[0], second_mdb=left[1]) if len(left) == 2 else None
