"""What is odd in one fibre's records: parts unlike the whole, what cannot have been, tests until one passes."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.links import Combination, LinkAttenuationCriterion
from service.vocabulary.criteria.words import Basis, Quantity
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import round_half_even, to_last_place, to_um
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.link_tests import both_ways
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import LinkLoss, Measurement, Trace
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, TENTHS_PER_MDB, db_text, mdb_text
from worker.judgement.traces.aligned_trace import Reading

# Expanded uncertainties (k = 2), common practice: a splice from both ends, source and meter, a span by OTDR.
_SPLICE_TENTH_MDB = 500
_SOURCE_AND_METER_MDB = 200
_SPAN_MDB = 100
_SPAN_PER_THOUSAND = 30
# Below this the bound is less than the uncertainty of a reading.
_LEAST_OFFSET_MDB = 500
_SEALED_TWICE = "usual where one sealing was posted twice; no chance is reckoned"
_CHANCE = "about 1 in 20 for each such comparison, where the uncertainties (k = 2) are what is usual"


def inconsistencies(fibre: FibreMeasured) -> Iterator[Suspicion]:
    """Give what does not fit together; none of it decides."""
    criteria = fibre.criteria.criteria
    for nm in sorted({one.wavelength_nm for one in criteria if isinstance(one, LinkAttenuationCriterion)}):
        yield from _parts_unlike_whole(fibre, nm)
    if fibre.validity.final_after_sealing:
        yield from _unrecorded_openings(fibre)


def _unrecorded_openings(fibre: FibreMeasured) -> Iterator[Suspicion]:
    """Find closures that were sealed twice in a row, the second time after tests that would count."""
    validity = fibre.validity
    for index, lid in validity.closures.items():
        if lid is None or lid.sealed is None or lid.again is None:
            continue
        tests = [
            test
            for test in (*fibre.history.traces, *fibre.history.links)
            if test.low_index <= index <= test.high_index and validity.fault_of(test) is None
        ]
        if any(validity.fault_at(test, index) is Reason.OPENING_NOT_RECORDED for test in tests):
            site = fibre.layout.design.sites[index].id
            # In words that are the same for every fibre, so that it is said once of all.
            detail = (
                f"{site}, sealed at {lid.sealed.made_at}, was sealed again at {lid.again.made_at} after it was tested, "
                "and no opening is recorded between"
            )
            records = (lid.sealed.id, lid.again.id)
            yield Suspicion(SuspicionKind.UNRECORDED_OPENING, (fibre.number,), records, detail, _SEALED_TWICE)


def _parts_unlike_whole(fibre: FibreMeasured, wavelength_nm: int) -> Iterator[Suspicion]:
    """Compare source and meter with the traces' totals over both end connections.

    The mean of both directions in each: a total from one side also carries half the difference of the two ends' glass.
    A reference by one cord holds both ends as the traces do; by two cords one end less, by three both.
    """
    powers = both_ways(fibre, test="attenuation", wavelength_nm=wavelength_nm)
    traced = both_ways(fibre, test="otdr", wavelength_nm=wavelength_nm)
    if any(one.missing is not None or len(one.measurements) != 1 for one in (*powers, *traced)):
        return
    losses = [one.measurements[0] for one in powers if isinstance(one.measurements[0], LinkLoss)]
    totals_mdb = [_total_mdb(fibre, one.measurements[0]) for one in traced]
    known_mdb = [total for total in totals_mdb if total is not None]
    cords = {loss.reference_cords for loss in losses}
    if len(known_mdb) < 2 or len(cords) != 1:
        return
    left_out_mdb = _left_out_mdb(fibre, wavelength_nm, cords=cords.pop())
    if left_out_mdb is None:
        return
    whole_mdb, parts_mdb = sum(loss.loss_mdb for loss in losses), sum(known_mdb)
    thousandths = 2000 * (_SOURCE_AND_METER_MDB + _SPAN_MDB) + _SPAN_PER_THOUSAND * abs(parts_mdb)
    off_mdb = max(whole_mdb - parts_mdb, parts_mdb - 2 * left_out_mdb - whole_mdb)
    if 1000 * off_mdb > thousandths:
        less = f", less at most {mdb_text(left_out_mdb)} dB that the reference leaves out" if left_out_mdb else ""
        detail = (
            f"fibre {fibre.number} loses {_half_text(whole_mdb)} dB at {wavelength_nm} nm by source and "
            f"meter and {_half_text(parts_mdb)} dB by its traces, both the mean of both directions and over both "
            f"end connections{less}"
        )
        records = tuple(one.measurements[0].stamp.id for one in (*powers, *traced))
        yield Suspicion(SuspicionKind.PARTS_UNLIKE_WHOLE, (fibre.number,), records, detail, _CHANCE)


def _left_out_mdb(fibre: FibreMeasured, wavelength_nm: int, *, cords: int) -> int | None:
    """Return the most that a reference takes away of the two ends, each at most what is read at its terminal."""
    if cords == 1:
        return 0
    ends = [place for place in fibre.places if place.is_end]
    losses = [fibre.loss_at(place, wavelength_nm=wavelength_nm) for place in ends]
    if len(losses) < 2 or any(loss.reason is not None for loss in losses):
        return None
    most = sorted(-(-max(loss.high_tenth_mdb, 0) // 10) for loss in losses)
    return sum(most) if cords == 3 else most[-1]


def _total_mdb(fibre: FibreMeasured, measurement: Measurement) -> int | None:
    """Return a trace's total if it is from the end of the launch cord to the start of the receive cord."""
    if not isinstance(measurement, Trace) or measurement.total_loss is None:
        return None
    total, launch = measurement.total_loss, measurement.launch
    if launch is None or measurement.receive is None:
        return None
    placing = fibre.criteria.placing
    tolerance_um = to_um(placing.tolerance_m)
    scale = to_last_place(placing.scale_percent, places=2)
    is_from_cord = abs(total.from_um - launch.length_um) <= tolerance_um
    off_um = abs(total.to_um - total.from_um - fibre.length_um) - tolerance_um
    is_to_cord = off_um * 10_000 <= fibre.length_um * scale
    return total.loss_mdb if is_from_cord and is_to_cord else None


def _half_text(twice_mdb: int) -> str:
    return mdb_text(twice_mdb // 2) if twice_mdb % 2 == 0 else db_text(twice_mdb * 5)


def tested_until_conforming(fibre: FibreMeasured, findings: Sequence[Finding]) -> Iterator[Suspicion]:
    """Give, by criterion, what conforms now and would not by an earlier test that no work came after.

    Tests that were replaced or withdrawn are looked at too.
    """
    earlier = _earlier_tests(fibre)
    if not earlier:
        return
    by_criterion: dict[str, list[tuple[Finding, str, Measurement]]] = {}
    for finding in findings:
        if finding.is_required and finding.is_good:
            for reading in finding.judged.readings:
                failed = _failed_before(fibre, finding, reading, earlier.get(reading.record, ()))
                if failed is not None:
                    by_criterion.setdefault(finding.code, []).append((finding, reading.record, failed))
    for criterion, found in by_criterion.items():
        yield _write(fibre, criterion, found)


def _earlier_tests(fibre: FibreMeasured) -> dict[str, list[Measurement]]:
    """Return the tests before each one with the same fibre, ends, wavelength and pulse, and no work between."""
    history = fibre.history
    worked_at: list[str] | None = None
    runs: dict[tuple[object, ...], list[Measurement]] = {}
    earlier: dict[str, list[Measurement]] = {}
    for test in (*history.traces, *history.links_of(LinkLoss)):
        run = runs.setdefault((test.ends, test.wavelength_nm, getattr(test, "pulse_ns", None)), [])
        if run:
            # Hardly any test is made twice, and then there is nothing to ask what was worked on when.
            worked_at = list(_worked_at(fibre)) if worked_at is None else worked_at
            if any(run[-1].stamp.made_at <= at <= test.stamp.made_at for at in worked_at):
                run.clear()
        if run:
            earlier[test.stamp.id] = list(run)
        run.append(test)
    return earlier


def _worked_at(fibre: FibreMeasured) -> Iterator[str]:
    history = fibre.history
    yield from (stamp.made_at for stamp in history.reworks)
    yield from (act.stamp.made_at for acts in history.cleanings.values() for act in acts)
    yield from (act.stamp.made_at for acts in history.lid_acts.values() for act in acts)


def _failed_before(
    fibre: FibreMeasured, finding: Finding, reading: RecordReading, earlier: Sequence[Measurement]
) -> Measurement | None:
    others = [
        _low_tenth_mdb(one)
        for one in finding.judged.readings
        if one.record != reading.record and (one.value is not None or one.within is not None)
    ]
    for test in earlier:
        value = _value_tenth_mdb(fibre, finding, test)
        if value is not None and _is_over(finding, value, others):
            return test
    return None


def _value_tenth_mdb(fibre: FibreMeasured, finding: Finding, test: Measurement) -> int | None:
    if finding.quantity is Quantity.SPLICE_LOSS and finding.site is not None and isinstance(test, Trace):
        shown = fibre.aligned(test).readings.get(fibre.layout.site_index[finding.site])
        return shown.low_mdb * TENTHS_PER_MDB if isinstance(shown, Reading) else None
    if finding.quantity is Quantity.LINK_ATTENUATION and isinstance(test, LinkLoss):
        return test.loss_mdb * TENTHS_PER_MDB
    return None


def _is_over(finding: Finding, value: int, others: Sequence[int]) -> bool:
    criterion, limit = finding.criterion, finding.judged.limit
    assert limit is not None
    is_worse = isinstance(criterion, LinkAttenuationCriterion) and criterion.combination is Combination.WORSE
    values = [value] if is_worse or getattr(criterion, "basis", None) is Basis.ONE_WAY else [value, *others]
    return sum(values) > round_half_even(limit.exact, unit=PDB_PER_TENTH_MDB) * len(values)


def _low_tenth_mdb(reading: RecordReading) -> int:
    return (-(reading.within or 0) if reading.value is None else reading.value) * TENTHS_PER_MDB


def _write(fibre: FibreMeasured, criterion: str, found: Sequence[tuple[Finding, str, Measurement]]) -> Suspicion:
    finding, record, failed = found[0]
    value = _value_tenth_mdb(fibre, finding, failed)
    assert value is not None
    place = "" if finding.site is None else f"at {finding.site} "
    return Suspicion(
        kind=SuspicionKind.TESTED_UNTIL_CONFORMING,
        fibres=(fibre.number,),
        records=tuple(dict.fromkeys(id_ for _, now, before in found for id_ in (before.stamp.id, now))),
        detail=f"fibre {fibre.number} {place}conforms to {criterion} by test {record}, and would not by test "
        f"{failed.stamp.id} before it, which reads {db_text(value)} dB; no work is recorded between them",
        chance="usual where something was cleaned and not recorded; no chance is reckoned",
    )
