"""What the tests of judging share: judge posted bodies, pick a finding out."""

from collections.abc import Iterable

from service.vocabulary.canonical import canonical_json
from service.vocabulary.findings.finding import FindingDocument, WorkDocument
from tests.factories import Body, criteria_of, layout_of, only, stored
from worker.judgement.history.evidence import Evidence
from worker.judgement.judge import FibreJudgement, Rules


def judge(
    bodies: Iterable[Body | Evidence], *, fibre: int = 1, design: Body | None = None, criteria: Body | None = None
) -> FibreJudgement:
    """Judge posted bodies; those with flags of their own come as evidence."""
    rules = Rules(layout_of(design), criteria_of(criteria))
    judged = rules.judge(fibre, rules.read(item if isinstance(item, Evidence) else stored(item) for item in bodies))
    # What plainly conforms is written from columns; the document has each finding as the general way gives it.
    assert judged.content == canonical_json(judged.document)
    return judged


def finding_of(
    judgement: FibreJudgement, criterion: str, *, site: str | None = None, position: int | None = None
) -> FindingDocument:
    """Return the one finding of a criterion, at a site if one is named."""
    [finding] = [
        finding
        for finding in judgement.document["findings"]
        if finding["criterion"] == criterion
        and site in {None, finding.get("site")}
        and position in {None, finding.get("position")}
    ]
    return finding


def finding_by(
    criterion: Body,
    bodies: Iterable[Body | Evidence],
    *,
    beside: Iterable[Body] = (),
    site: str | None = None,
    design: Body | None = None,
) -> FindingDocument:
    """Return the one finding of a criterion, alone or beside others, at a site if one is named."""
    judgement = judge(bodies, design=design, criteria=only(criterion, *beside))
    return finding_of(judgement, criterion["code"], site=site)


def splice_at_c1(bodies: Iterable[Body | Evidence], **changes: Body) -> FindingDocument:
    """Return the finding about the splice in closure C1."""
    return finding_of(judge(bodies, **changes), "SPLICE-1550", site="C1")  # type: ignore[arg-type]


FIRST_WORK = {"splice", "terminate"}


def work_of(judgement: FibreJudgement) -> list[tuple[str, str]]:
    """Return act and site of each item that can be done now, without what is done for the first time."""
    return [(item["act"], "-".join(item["sites"])) for item in ready_items(judgement)]


def ready_items(judgement: FibreJudgement) -> list[WorkDocument]:
    """Return the items that can be done now, without what is done for the first time."""
    return [item for item in judgement.document["work"] if item["is_ready"] and item["act"] not in FIRST_WORK]


def because(item: WorkDocument) -> str:
    """Return why an item is to be done, in one sentence."""
    clauses = [one["clause"].replace("{}", one.get("value", "")) for one in item["causes"]]
    text = "; ".join(dict.fromkeys(clauses))
    return f"{text[0].upper()}{text[1:]}."


def criteria_behind(item: WorkDocument) -> list[str]:
    """Return the criteria behind an item, each once."""
    return list(dict.fromkeys(code for cause in item["causes"] for code in cause["criteria"]))


def records_behind(item: WorkDocument) -> list[str]:
    """Return the records behind an item, each once."""
    return list(dict.fromkeys(record for cause in item["causes"] for record in cause["records"]))


def only_item(judgement: FibreJudgement) -> WorkDocument:
    """Return the one item that can be done now."""
    [item] = ready_items(judgement)
    return item


def where(item: WorkDocument) -> str:
    """Return the sites of an item, as one word."""
    return "-".join(item["sites"])
