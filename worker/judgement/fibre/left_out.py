"""A fibre's loss by source and meter against its traces: what one has and the other has not was left out."""

from typing import NamedTuple, cast

from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.design.layout import Span
from service.vocabulary.quantities import PDB_PER_MDB, round_half_even, to_last_place, to_um
from worker.judgement.fibre.link_tests import DirectionTest, both_ways
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import LinkLoss, Trace
from worker.judgement.history.parts import parts_between
from worker.judgement.numbers.exact import TENTHS_PER_MDB, db_text, limit_mdb, mdb_text

# Scattering makes nearly all of a fibre's loss and goes with the inverse fourth power of the wavelength, so that a loss
# changes by four times the share by which the wavelength does: 0.8 dB over 40 km at 0.33 dB/km and 1310 nm for 20 nm.
_POWER = 4
_FINE = 20_000


class TracedLoss(NamedTuple):
    """What one trace loses from before the first to behind the last end connection, in 0.001 dB, and its glass of it.

    `left_mdb` is what its total leaves beside all its events, if it has one and they all state their loss.
    `is_total` tells whether the loss is the instrument's own total: else a joint that is not seen is not in it.
    """

    trace: Trace
    loss_mdb: int
    glass_mdb: int
    left_mdb: int | None
    is_total: bool = False


class WholeAndParts(NamedTuple):
    """Source and meter beside the traces, each the sum of both directions, in 0.001 dB.

    A reference by one cord holds both ends as the traces do; by two cords one end less, by three both: each at most
    what is read at its terminal, `left_out_mdb` together in one direction. `wavelengths_mdb` is what the two may differ
    by because the source is of another wavelength than the instruments.
    """

    whole_mdb: int
    traced: tuple[TracedLoss, ...]
    left_out_mdb: int
    wavelengths_mdb: int

    @property
    def parts_mdb(self) -> int:
        """What the traces lose."""
        return sum(one.loss_mdb for one in self.traced)

    def contradict(self, *, uncertainty_mdb: int, span_mdb: int, span_hundredths: int) -> bool:
        """Tell whether both cannot be right, by the expanded uncertainties of a loss each way.

        That of the traces is so many 0.001 dB and so many hundredths of a percent of what they lose.
        """
        # Each way half of what both lose: all is counted in 1/20,000 of 0.001 dB, so that it stays exact.
        of_traces = span_mdb * _FINE + span_hundredths * abs(self.parts_mdb)
        squared = 4 * ((uncertainty_mdb * _FINE) ** 2 + of_traces**2)
        off_mdb = max(self.whole_mdb - self.parts_mdb, self.parts_mdb - 2 * self.left_out_mdb - self.whole_mdb)
        beyond_mdb = off_mdb - self.wavelengths_mdb
        return beyond_mdb > 0 and (beyond_mdb * _FINE) ** 2 > squared


def compare(fibre: FibreMeasured, *, wavelength_nm: int, span: Span) -> WholeAndParts | None:
    """Return source and meter beside the traces, where both measured all between two sites from both ends."""
    question = "whole and parts", wavelength_nm, span.first, span.last
    if question not in fibre.tests_found:
        fibre.tests_found[question] = _compare(fibre, wavelength_nm=wavelength_nm, span=span)
    return cast(WholeAndParts | None, fibre.tests_found[question])


def _compare(fibre: FibreMeasured, *, wavelength_nm: int, span: Span) -> WholeAndParts | None:
    traced = traced_both_ways(fibre, wavelength_nm=wavelength_nm, span=span)
    if traced is None:
        return None
    powers = both_ways(fibre, test="attenuation", wavelength_nm=wavelength_nm, between=span)
    losses = [one for way in powers for one in way.measurements if isinstance(one, LinkLoss)]
    if any(way.missing is not None for way in powers) or len({one.reference_cords for one in losses}) != 1:
        return None
    left_out_mdb = _left_out_mdb(fibre, wavelength_nm, span, cords=losses[0].reference_cords)
    if left_out_mdb is None:
        return None
    return WholeAndParts(
        whole_mdb=sum(one.loss_mdb for one in losses),
        traced=traced,
        left_out_mdb=left_out_mdb,
        wavelengths_mdb=sum(_by_wavelengths_mdb(*pair) for pair in zip(losses, traced, strict=True)),
    )


def traced_both_ways(fibre: FibreMeasured, *, wavelength_nm: int, span: Span) -> tuple[TracedLoss, ...] | None:
    """Return what the traces of both directions lose between two sites, both connections there included."""
    question = "traced", wavelength_nm, span.first, span.last
    if question not in fibre.tests_found:
        ways = both_ways(fibre, test="otdr", wavelength_nm=wavelength_nm, between=span)
        traced = tuple([found for way in ways if (found := _traced(fibre, span, way)) is not None])
        fibre.tests_found[question] = traced if len(traced) == len(ways) else None
    return cast(tuple[TracedLoss, ...] | None, fibre.tests_found[question])


def contradiction(
    fibre: FibreMeasured, criterion: LinkAttenuationCriterion, span: Span
) -> tuple[WholeAndParts, str] | None:
    """Return source and meter beside the traces, and in words, if both cannot be right."""
    nm, consistency = criterion.wavelength_nm, fibre.criteria.consistency
    found = compare(fibre, wavelength_nm=nm, span=span)
    if found is None or not found.contradict(
        uncertainty_mdb=limit_mdb(criterion.uncertainty_db),
        span_mdb=limit_mdb(consistency.span_db),
        span_hundredths=to_last_place(consistency.span_percent, places=2),
    ):
        return None
    less = (
        f", of which the reference leaves out {mdb_text(found.left_out_mdb)} dB at most" if found.left_out_mdb else ""
    )
    other = f"; the wavelengths explain {half_text(found.wavelengths_mdb)} dB of it" if found.wavelengths_mdb else ""
    return found, f"the traces lose {half_text(found.parts_mdb)} dB over both end connections{less}{other}"


def _traced(fibre: FibreMeasured, span: Span, way: DirectionTest) -> TracedLoss | None:
    """Return what the first trace between two sites loses that says so: by its total, or by all its parts."""
    for trace in way.measurements:
        if not isinstance(trace, Trace) or way.missing is not None or trace.span != (span.first, span.last):
            continue
        if trace.launch is None or trace.receive is None:
            continue
        found = traced_by(fibre, trace)
        if found is not None:
            return found
    return None


def traced_by(fibre: FibreMeasured, trace: Trace) -> TracedLoss | None:
    """Return what a trace loses between its ends with what it sees there: by its total, or by all its parts."""
    near_um = to_um(fibre.criteria.placing.tolerance_m)
    scale, total = fibre.aligned(trace).scale, trace.total_loss
    parts = parts_between(trace, from_um=scale.start_um, to_um=scale.end_um, near_um=near_um)
    glass_mdb, events_mdb = (round_half_even(one, unit=PDB_PER_MDB) for one in (parts.glass_pdb, parts.events_pdb))
    is_of_all = total is not None and all(
        abs(one - other) <= scale.tolerance_um
        for one, other in ((total.from_um, scale.start_um), (total.to_um, scale.end_um))
    )
    if total is not None and is_of_all:
        left_mdb = total.loss_mdb - events_mdb if parts.are_events_all else None
        return TracedLoss(trace, total.loss_mdb, glass_mdb if parts.is_glass_all else total.loss_mdb, left_mdb, True)
    return TracedLoss(trace, glass_mdb + events_mdb, glass_mdb, None) if parts.are_all else None


def _left_out_mdb(fibre: FibreMeasured, wavelength_nm: int, span: Span, *, cords: int) -> int | None:
    """Return the most that a reference takes away of the two ends, each at most what is read there by both ends."""
    if cords == 1:
        return 0
    ends = [place for place in fibre.places if place.site_index in {span.first, span.last}]
    losses = [fibre.loss_at(place, wavelength_nm=wavelength_nm) for place in ends]
    if len(losses) < 2 or any(loss.reason is not None for loss in losses):
        return None
    most = sorted(-(-max(loss.high_tenth_mdb, 0) // TENTHS_PER_MDB) for loss in losses)
    return sum(most) if cords == 3 else most[-1]


def _by_wavelengths_mdb(loss: LinkLoss, traced: TracedLoss) -> int:
    apart_dnm = abs(loss.actual_dnm - traced.trace.actual_dnm)
    return -(-_POWER * max(traced.glass_mdb, 0) * apart_dnm // (10 * loss.wavelength_nm))


def half_text(twice_mdb: int) -> str:
    """Write half of a sum of both directions."""
    return mdb_text(twice_mdb // 2) if twice_mdb % 2 == 0 else db_text(twice_mdb * 5)
