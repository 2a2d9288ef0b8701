"""Tests made again until one conforms: the rules held against what the tests before it read."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from service.vocabulary.criteria.joints import (
    ConnectionLossCriterion,
    SpliceLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.losses import PlaceLoss, PlaceLosses
from worker.judgement.fibre.measured import FibreMeasured, measure_place
from worker.judgement.history.acts import LinkLoss, Measurement, Trace
from worker.judgement.numbers.exact import mdb_text
from worker.judgement.rules.base import Rule
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import OneWayLoss

# Whose findings rest on single readings that another test could have given.
_BY_READINGS = (
    SpliceLossCriterion,
    ConnectionLossCriterion,
    TerminationLossCriterion,
    LinkAttenuationCriterion,
)
# Standard deviations of one reading, common practice, no source: of a joint, and by source and meter (0.2 dB, k = 2).
_NOISE_OF_TRACE_MDB = 10
_NOISE_OF_METER_MDB = 100
_HARMLESS = "usual where something was cleaned or moved and not recorded"


class _Failed(NamedTuple):
    """A finding that conforms by one test and would not by another before it, and what the two read."""

    finding: Finding
    test: Measurement
    before: Measurement
    read_mdb: int
    before_mdb: int


def tested_until_conforming(
    fibre: FibreMeasured, findings: Iterable[Finding], rules: Iterable[Rule[Any]]
) -> Iterator[Suspicion]:
    """Give, by criterion, what conforms now and would not by an earlier test that no work came after.

    The rule itself decides, with fallback, group and guard band, by the fibre as the earlier test would show it. Tests
    that were replaced or withdrawn are looked at too.
    """
    own = [rule for rule in rules if isinstance(rule.criterion, _BY_READINGS)]
    by_criterion: dict[str, dict[tuple[Any, ...], _Failed]] = {}
    for test, earlier in _earlier_tests(fibre):
        good = [one for one in findings if one.is_required and one.is_good and _rests_on(one, test)]
        for before in earlier if good else ():
            shown = _as_shown_before(fibre, test, before)
            bad = {_subject(one) for rule in own for one in rule.findings(shown) if one.is_bad}
            for finding in good:
                read = _read_mdb(fibre, finding, test), _read_mdb(fibre, finding, before)
                if _subject(finding) in bad and read[0] is not None and read[1] is not None:
                    failed = _Failed(finding, test, before, read[0], read[1])
                    by_criterion.setdefault(finding.code, {}).setdefault(_subject(finding), failed)
    for criterion, failures in by_criterion.items():
        yield _write(fibre, criterion, list(failures.values()))


def _earlier_tests(fibre: FibreMeasured) -> Iterator[tuple[Measurement, list[Measurement]]]:
    """Give with each test those before it with the same fibre, ends, wavelength and pulse, and no work between."""
    history = fibre.history
    worked_at: list[str] | None = None
    runs: dict[tuple[object, ...], list[Measurement]] = {}
    for test in (*history.traces, *history.links_of(LinkLoss)):
        run = runs.setdefault((test.ends, test.wavelength_nm, getattr(test, "pulse_ns", None)), [])
        if run:
            # Hardly any test is made twice, and then there is nothing to ask what was worked on when.
            worked_at = list(_worked_at(fibre)) if worked_at is None else worked_at
            if any(run[-1].stamp.made_at <= at <= test.stamp.made_at for at in worked_at):
                run.clear()
        if run:
            yield test, list(run)
        run.append(test)


def _worked_at(fibre: FibreMeasured) -> Iterator[str]:
    history = fibre.history
    yield from (work.stamp.made_at for work in history.reworks)
    yield from (act.stamp.made_at for acts in history.cleanings.values() for act in acts)
    yield from (act.stamp.made_at for acts in history.lid_acts.values() for act in acts)


def _rests_on(finding: Finding, test: Measurement) -> bool:
    return any(reading.record == test.stamp.id for reading in finding.judged.readings)


def _subject(finding: Finding) -> tuple[Any, ...]:
    return finding.code, finding.site, finding.position, finding.from_site, finding.to_site


def _as_shown_before(fibre: FibreMeasured, test: Measurement, before: Measurement) -> FibreMeasured:
    """Return the fibre as it would be if one test had read what an earlier one did."""
    if isinstance(test, LinkLoss) and isinstance(before, LinkLoss):
        read = replace(test, loss_mdb=before.loss_mdb, reference_cords=before.reference_cords)
        links = tuple(read if one is test else one for one in fibre.history.links)
        return replace(fibre, history=replace(fibre.history, links=links))
    if not isinstance(test, Trace) or not isinstance(before, Trace) or test.wavelength_nm not in fibre.losses:
        return fibre
    readings, losses, nm = fibre.aligned(before).readings, fibre.losses[test.wavelength_nm], test.wavelength_nm

    def measure(place: Place) -> PlaceLoss:
        shown, own = readings.get(place.site_index), losses[place.site_index]
        if not isinstance(shown, Reading):
            return own
        forward, backward = (_with_reading(way, test, shown) for way in (own.forward, own.backward))
        return measure_place(fibre.prepared, fibre.history, place, nm, forward=forward, backward=backward)

    return replace(fibre, losses={**fibre.losses, nm: PlaceLosses(fibre.places, measure)})


def _with_reading(way: OneWayLoss, test: Trace, shown: Reading) -> OneWayLoss:
    # It stays a reading of the later trace, whose cords and pulse the earlier one's are.
    read = shown._replace(trace=test)
    return way._replace(readings=tuple(read if one.trace is test else one for one in way.readings))


def _read_mdb(fibre: FibreMeasured, finding: Finding, test: Measurement) -> int | None:
    """Return what a test reads of a finding's subject, at most."""
    if isinstance(test, LinkLoss):
        return test.loss_mdb
    if finding.site is None or not isinstance(test, Trace):
        return None
    shown = fibre.aligned(test).readings.get(fibre.layout.site_index[finding.site])
    return shown.high_mdb if isinstance(shown, Reading) else None


def _write(fibre: FibreMeasured, criterion: str, failures: Sequence[_Failed]) -> Suspicion:
    first = failures[0]
    place = "" if first.finding.site is None else f"at {first.finding.site} "
    return Suspicion(
        kind=SuspicionKind.TESTED_UNTIL_CONFORMING,
        fibres=(fibre.number,),
        records=tuple(dict.fromkeys(test.stamp.id for one in failures for test in (one.before, one.test))),
        detail=f"fibre {fibre.number} {place}conforms to {criterion} by test {first.test.stamp.id}, which reads "
        f"{mdb_text(first.read_mdb)} dB, and would not by test {first.before.stamp.id} before it, which reads "
        f"{mdb_text(first.before_mdb)} dB; no work is recorded between them",
        chance=f"{_chance_text(first)}; {_HARMLESS}",
    )


def _chance_text(failed: _Failed) -> str:
    """Say how likely noise alone makes two readings differ so: normal, their difference has twice its variance."""
    noise_mdb = _NOISE_OF_METER_MDB if isinstance(failed.test, LinkLoss) else _NOISE_OF_TRACE_MDB
    chance = math.erfc(abs(failed.before_mdb - failed.read_mdb) / (2 * noise_mdb))
    # Rounded once: the last bits of such a function differ between machines.
    power = 99 if chance <= 1e-99 else math.floor(round(-math.log10(chance), 4))
    by = f"by the noise of readings, {mdb_text(noise_mdb)} dB each"
    return f"at most 1e-{power} {by}" if power else f"above 1 in 10 {by}"
