"""What both directions have of a test from end to end, and what is known before it is held against a limit."""

from collections.abc import Callable

from service.vocabulary.criteria.required_tests import RequiredTest, Test
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.words import Outcome, Reason
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.link_tests import EndToEndTest, find_by_one_value
from worker.judgement.fibre.measured import FibreMeasured, find_test
from worker.judgement.history.acts import Continuity, Measurement
from worker.judgement.history.validity import void_records
from worker.judgement.words import DIRECTION


def end_to_end_test(fibre: FibreMeasured, *, test: Test, wavelength_nm: int | None, is_forward: bool) -> EndToEndTest:
    """Return what one direction has of a test from end to end."""
    need = RequiredTest(test, wavelength_nm)
    found = fibre.tests.get((need, is_forward))
    if found is not None:
        return found
    return find_test(fibre.prepared, fibre.traces, fibre.history, fibre=fibre.number, need=need, is_forward=is_forward)


def both_ways(
    fibre: FibreMeasured,
    *,
    test: Test,
    wavelength_nm: int | None,
    is_wanted: Callable[[Measurement], bool] | None = None,
) -> tuple[EndToEndTest, EndToEndTest]:
    """Return what A to B and B to A have of a test from end to end; what is not wanted is passed over."""
    forward, backward = (
        end_to_end_test(fibre, test=test, wavelength_nm=wavelength_nm, is_forward=is_forward)
        if is_wanted is None
        else find_by_one_value(
            fibre.prepared,
            fibre.traces,
            fibre.history,
            fibre=fibre.number,
            test=test,
            wavelength_nm=wavelength_nm,
            is_forward=is_forward,
            is_wanted=is_wanted,
        )
        for is_forward in (True, False)
    )
    return forward, backward


def missing_reason(*found: EndToEndTest) -> Reason | None:
    """Return why a test is missing in any direction; a test that does not count tells more than none."""
    reasons = [one.missing for one in found if one.missing is not None]
    return next((reason for reason in reasons if reason is not Reason.NO_EVIDENCE), reasons[0] if reasons else None)


def is_dark(fibre: FibreMeasured) -> bool:
    """Tell whether every test of a fibre's continuity that counts saw no light, and there is one."""
    tests = [
        one
        for way in both_ways(fibre, test="continuity", wavelength_nm=None)
        for one in way.measurements
        if isinstance(one, Continuity)
    ]
    return bool(tests) and all(one.seen_fibre is None for one in tests)


def known_of(
    reason: Reason | None, *found: EndToEndTest, read: Callable[[Measurement], RecordReading] | None = None
) -> Judgement:
    """Return what is known before anything is held against a limit; without a reason it is to be held."""
    return Judgement(
        outcome=Outcome.UNDETERMINED,
        reason=reason,
        detail="; ".join(why for one in found if (why := one.why_missing)),
        readings=tuple((read or reading_of)(own) for one in found for own in one.measurements),
        void=void_records([item for one in found for item in one.void]),
    )


def reading_of(measurement: Measurement, value: int | None = None, *, places: int = 3) -> RecordReading:
    """Return a measurement with what it says, if that is a number, as an integer of the last of its places."""
    return RecordReading(measurement.stamp.id, DIRECTION[measurement.is_forward], value=value, places=places)
