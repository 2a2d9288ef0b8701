"""What is odd in one fibre's records: what cannot have been, tests until one passes."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.links import Combination, LinkAttenuationCriterion
from service.vocabulary.criteria.words import Basis, Quantity
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import round_half_even
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import LinkLoss, Measurement, Trace
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, TENTHS_PER_MDB, db_text
from worker.judgement.traces.aligned_trace import Reading

_SEALED_TWICE = "usual where one sealing was posted twice; no chance is reckoned"


def unrecorded_openings(fibre: FibreMeasured) -> Iterator[Suspicion]:
    """Find closures that were sealed twice in a row, the second time after tests that would count."""
    validity = fibre.validity
    if not validity.final_after_sealing:
        return
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
