"""Records that are missing: what was done may well be in order, but nobody has said so."""

from collections.abc import Iterator, Sequence

from service.vocabulary.findings.finding import FindingDocument, WorkDocument
from service.vocabulary.words import Act, Outcome, Quantity, Reason
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.work.items import Cause, cause_of, write_item
from worker.judgement.work.splices import aspect_of

_MISSING = {Reason.NO_EVIDENCE, Reason.WORK_NOT_STATED}


def record_work(fibre: FibreMeasured, still_open: Sequence[FindingDocument]) -> Iterator[WorkDocument]:
    """Return what has to be posted of splices that are made, one item for each."""
    causes: dict[tuple[str, int], list[Cause]] = {}
    for finding in still_open:
        is_unsaid = (finding["quantity"], finding["outcome"]) == (Quantity.WORKMANSHIP, Outcome.UNDETERMINED)
        # A finding without a record is about a splice that is not made yet.
        if is_unsaid and finding.get("reason") in _MISSING and finding["readings"]:
            clause = f"{finding['detail']}: {_advice(fibre, finding)}"
            causes.setdefault((finding["site"], finding["position"]), []).append(cause_of(finding, clause))
    for (site, position), own in causes.items():
        yield write_item(fibre, act=Act.TEST_MISSING, site=site, causes=own, position=position)


def _advice(fibre: FibreMeasured, finding: FindingDocument) -> str:
    if aspect_of(fibre, finding) == "calibrated_splicer":
        return "post the calibration if there was one, or calibrate and splice again"
    return "replace the splice's record by one that states it"
