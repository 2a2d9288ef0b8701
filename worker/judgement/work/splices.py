"""What is known of one splice beside its loss: its latest attempt, and how that was made."""

from collections.abc import Iterable, Iterator, Mapping

from service.vocabulary.criteria.workmanship import WorkmanshipCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.words import Outcome, Quantity
from worker.judgement.fibre.connections import is_clean
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct
from worker.judgement.traces.places import Place
from worker.judgement.work.items import Cause, cause_of

# What a new splice turns around. One attempt more never makes them fewer: that is for the engineer to concede.
_ADVICE: Mapping[str, str] = {
    "calibrated_splicer": ": calibrate the arc here, then splice again",
    "cleave_angle": ": cleave and splice again",
    "cleave_length": ": cleave and splice again",
    "sleeve_length": ": splice again with a sleeve that is allowed",
    "certificate": ": have it spliced again by a person whose certificate is valid",
    "fusion": ": splice again by fusion",
    "attempts_above_loss": ": splice again, each attempt a record of its own",
}


def latest_splice(fibre: FibreMeasured, joint: Joint) -> SpliceAct | None:
    """Return the latest attempt at a joint; a record without a position speaks for each splice of its site."""
    attempts = fibre.history.splices.get(joint.site, ())
    return next((splice for splice in reversed(attempts) if splice.position in {None, joint.position}), None)


def is_worth_splicing(fibre: FibreMeasured, place: Place) -> bool:
    """Tell whether a loss here is the splice's: where it was read with a connection, once that is known to be clean."""
    return place.pair is None or is_clean(fibre, place, place.pair)


def workmanship_causes(fibre: FibreMeasured, findings: Iterable[FindingDocument]) -> Iterator[Cause]:
    """Return why a splice has to be made again by how it was made."""
    for finding in findings:
        if (finding["quantity"], finding["outcome"]) != (Quantity.WORKMANSHIP, Outcome.NONCONFORMING):
            continue
        aspect = aspect_of(fibre, finding)
        if aspect == "proof_test":
            yield cause_of(finding, "the splice did not pass its proof test")
        elif aspect is not None and aspect in _ADVICE:
            yield cause_of(finding, f"{finding['detail']}{_ADVICE[aspect]}")


def aspect_of(fibre: FibreMeasured, finding: FindingDocument) -> str | None:
    """Return what a workmanship finding's criterion demands something of."""
    return next(
        (
            criterion.demand.aspect
            for criterion in fibre.criteria.criteria
            if isinstance(criterion, WorkmanshipCriterion) and criterion.code == finding["criterion"]
        ),
        None,
    )
