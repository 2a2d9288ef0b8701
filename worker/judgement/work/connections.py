"""Work at connections: clean and inspect them first, and give them new connectors only where that does not help."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.words import Quantity
from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Act, Outcome
from service.vocabulary.records.words import Side
from worker.judgement.fibre.end_faces import cleanings_of, is_clean
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.traces.places import Place
from worker.judgement.words import at_wavelength
from worker.judgement.work.items import Cause, WorkItem, beyond_limit, cause_of, value_of

# What does not come off when cleaned so often is a scratch, common practice.
_CLEANINGS = 2

_NAMES = {
    Quantity.CONNECTION_LOSS: "the connection's loss",
    Quantity.TERMINATION_LOSS: "the loss of the connection with the splice behind it",
    Quantity.SPLICE_LOSS: "the loss of the splice, read together with its connection,",
    Quantity.REFLECTANCE: "the reflectance",
    Quantity.RETURN_LOSS: "the return loss seen here",
}
_OF_WHOLE_PLACE = {Quantity.SPLICE_LOSS, Quantity.RETURN_LOSS}
_OF_ONE_READING = {Quantity.SPLICE_LOSS, Quantity.TERMINATION_LOSS}
_SIDES = {Side.TOWARDS_A: "towards A", Side.TOWARDS_B: "towards B"}
_CLEAN = "clean and inspect both sides, then test again"
_INSPECT = "clean it and post what is seen of every zone"
_SCRATCHED = "cleaning does not help: give the fibre a new connector"
_NEW_CONNECTOR = "it was cleaned and both end faces pass: give the fibre a new connector"


def connection_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return what is to be done at connections that are known to be bad."""
    bad = [finding for finding in still_open if finding.is_bad and finding.site is not None]
    for place, pair in fibre.joints_of_kind[JointKind.PAIR] if bad else ():
        own = [finding for finding in bad if finding.site == place.site and _is_about(place, pair, finding)]
        sides = [finding.side for finding in own if finding.quantity is Quantity.END_FACE]
        if is_clean(fibre.history, place, pair):
            act, advice = Act.RE_TERMINATE, _NEW_CONNECTOR
            own = [finding for finding in own if not _is_the_splices(finding, own)]
        elif any(_is_scratched(fibre, pair, side) for side in sides):
            act, advice = Act.RE_TERMINATE, _SCRATCHED
        else:
            act, advice = Act.CLEAN_AND_INSPECT, _CLEAN
        if own:
            yield _item(act, pair, own, advice)


def inspection_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return the end faces to be inspected before the fibre is tested."""
    unknown = [
        finding
        for finding in still_open
        if finding.quantity is Quantity.END_FACE and finding.outcome is Outcome.UNDETERMINED
    ]
    for place, pair in fibre.joints_of_kind[JointKind.PAIR] if unknown else ():
        own = [one for one in unknown if (one.site, one.position) == (place.site, pair.position)]
        if own:
            yield _item(Act.CLEAN_AND_INSPECT, pair, own, _INSPECT)


def _is_about(place: Place, pair: Joint, finding: Finding) -> bool:
    """Tell whether a finding at a pair's place is this pair's: one of the whole place goes to its first."""
    if finding.quantity in _OF_WHOLE_PLACE:
        return place.pair == pair
    is_of_pairs = finding.quantity in _NAMES or finding.quantity is Quantity.END_FACE
    return is_of_pairs and finding.position == pair.position


def _is_the_splices(finding: Finding, own: Sequence[Finding]) -> bool:
    """Tell whether a loss read with a clean connection is put down to the splice, which is made again."""
    if finding.quantity is Quantity.SPLICE_LOSS:
        return True
    has_bad_splice = any(one.quantity is Quantity.SPLICE_LOSS for one in own)
    return has_bad_splice and finding.quantity is Quantity.TERMINATION_LOSS


def _is_scratched(fibre: FibreMeasured, pair: Joint, side: Side | None) -> bool:
    """Tell whether an end face that fails had been cleaned so often that only a scratch stays.

    What was seen before a cleaning no longer fails, so all of them came before.
    """
    return sum(act.side == side for act in cleanings_of(fibre.history, pair)) >= _CLEANINGS


def _item(act: Act, pair: Joint, findings: Sequence[Finding], advice: str) -> WorkItem:
    seen = [_cause(own) for own in _of_one_reading(findings)]
    # An order gives its first few reasons: that cleaning did not help is the one for a new connector.
    causes = (Cause(advice), *seen) if act is Act.RE_TERMINATE else (*seen, Cause(advice))
    return WorkItem(act, (pair.site,), causes, pair.position)


def _of_one_reading(findings: Sequence[Finding]) -> list[list[Finding]]:
    """Return the findings together that say the same: a splice's limit, of a pair's loss, may be the pair's own."""
    alike: dict[object, list[Finding]] = {}
    for finding in findings:
        is_loss = finding.quantity in _OF_ONE_READING
        key = (finding.wavelength_nm, value_of(finding), beyond_limit(finding)) if is_loss else id(finding)
        alike.setdefault(key, []).append(finding)
    return list(alike.values())


def _cause(findings: Sequence[Finding]) -> Cause:
    # The connection is named where it is one of them.
    told = cause_of(findings[-1], _clause(findings[-1]))
    return told._replace(criteria=tuple(dict.fromkeys(one.code for one in findings)))


def _clause(finding: Finding) -> str:
    if finding.side is not None:
        return f"the end face {_SIDES[finding.side]}: {finding.judged.detail}"
    return f"{_NAMES[finding.quantity]}{at_wavelength(finding.wavelength_nm)} {beyond_limit(finding)}"
