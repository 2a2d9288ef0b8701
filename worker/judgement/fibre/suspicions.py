"""What is odd in one fibre's records: what cannot have been."""

from collections.abc import Iterator

from service.vocabulary.findings.suspicion import Suspicion, SuspicionKind
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.measured import FibreMeasured

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
