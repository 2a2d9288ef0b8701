"""The findings of the segments submitted: first what keeps them from conforming, then every value in order."""

from collections.abc import Callable, Iterable, Sequence

from service.vocabulary.finding import FindingDocument
from service.vocabulary.words import Force, Outcome, Quantity
from worker.package.content import PackageContent
from worker.package.pieces import Column, Kind, Look, Paragraph, Section, Table, listing
from worker.package.wording import A_TO_B, B_TO_A, UNKNOWN, number_text, place_text, reading_text, value_text, words

_BOUNDS_NOTE = Paragraph(
    text="A loss is positive, an apparent gain negative. ± stands before the threshold below which the trace shows "
    f"nothing at the joint; the mean then lies between the two bounds. {UNKNOWN} means not known.",
    look=Look.NOTE,
)


def submitted_findings(content: PackageContent) -> Sequence[FindingDocument]:
    """Return the findings of the segments submitted, by fibre, place from A, position and wavelength."""
    order = {site.id: index for index, site in enumerate(content.design.sites)}
    submitted = frozenset(content.segments)
    chosen = [f for fibre in content.fibres for f in fibre["findings"] if not submitted.isdisjoint(f["segments"])]
    return sorted(
        chosen,
        key=lambda f: (
            f["fibre"],
            order.get(f.get("site", ""), -1),
            f.get("position", 0),
            f.get("wavelength_nm", 0),
            f["criterion"],
        ),
    )


def open_section(outcome: Outcome, *, title: str, findings: Sequence[FindingDocument]) -> Section:
    """Return the findings that came out one way, each with its reason."""
    rows = tuple(_open_row(finding) for finding in findings if finding["outcome"] == outcome)
    return listing(title=title, table=Table(columns=_OPEN_COLUMNS, rows=rows))


def link_section(findings: Iterable[FindingDocument]) -> Section:
    """Return the end-to-end table."""
    rows = _rows_of(Quantity.LINK_ATTENUATION, findings, _link_row)
    return listing(title="End to end", table=Table(columns=_LINK_COLUMNS, rows=rows))


def joints_section(findings: Iterable[FindingDocument]) -> Section:
    """Return the joint table."""
    rows = _rows_of(Quantity.SPLICE_LOSS, findings, _joint_row)
    return listing(title="Joints", table=Table(columns=_JOINT_COLUMNS, rows=rows, is_grouped=True), note=_BOUNDS_NOTE)


def terminations_section(findings: Iterable[FindingDocument]) -> Section:
    """Return the connections at the ends, each with the splice behind it."""
    rows = _rows_of(Quantity.TERMINATION_LOSS, findings, _joint_row)
    note = Paragraph(text="Each value holds a connection together with the splice behind it.", look=Look.NOTE)
    return listing(title="Terminations", table=Table(columns=_JOINT_COLUMNS, rows=rows, is_grouped=True), note=note)


def _rows_of(
    quantity: Quantity, findings: Iterable[FindingDocument], row: Callable[[FindingDocument], tuple[str, ...]]
) -> tuple[tuple[str, ...], ...]:
    return tuple(row(finding) for finding in findings if finding["quantity"] == quantity)


_FIBRE = Column(heading="Fibre", share=30, kind=Kind.NUMBER)
_WAVELENGTH = Column(heading="Wavelength", unit="nm", share=48, kind=Kind.NUMBER)
_LIMIT = Column(heading="Limit", unit="dB", share=34, kind=Kind.NUMBER)
_READ_BOTH_WAYS = (
    Column(heading="A to B", unit="dB", share=40, kind=Kind.NUMBER),
    Column(heading="B to A", unit="dB", share=40, kind=Kind.NUMBER),
)
_HELD = (_LIMIT, Column(heading="Margin", unit="dB", share=38, kind=Kind.NUMBER))
_OUTCOME = Column(heading="Outcome", share=77, kind=Kind.OUTCOME)

_JOINT_COLUMNS = (
    _FIBRE,
    Column(heading="Site", share=66),
    Column(heading="Position", share=36, kind=Kind.NUMBER),
    _WAVELENGTH,
    *_READ_BOTH_WAYS,
    Column(heading="Mean or bounds", unit="dB", share=84, kind=Kind.NUMBER),
    *_HELD,
    _OUTCOME,
)
_LINK_COLUMNS = (
    _FIBRE,
    Column(heading="Ends", share=110),
    _WAVELENGTH,
    *_READ_BOTH_WAYS,
    Column(heading="Value", unit="dB", share=50, kind=Kind.NUMBER),
    *_HELD,
    _OUTCOME,
)
_OPEN_COLUMNS = (
    _FIBRE,
    Column(heading="Place", share=72),
    Column(heading="Position", share=36, kind=Kind.NUMBER),
    Column(heading="Criterion", share=70),
    Column(heading="Value", unit="dB", share=66, kind=Kind.NUMBER),
    _LIMIT,
    Column(heading="Reason", share=204),
)


def _joint_row(finding: FindingDocument) -> tuple[str, ...]:
    return (
        str(finding["fibre"]),
        place_text(finding),
        number_text(finding.get("position")),
        number_text(finding.get("wavelength_nm")),
        *_measured(finding),
    )


def _link_row(finding: FindingDocument) -> tuple[str, ...]:
    return (
        str(finding["fibre"]),
        place_text(finding),
        number_text(finding.get("wavelength_nm")),
        *_measured(finding),
    )


def _measured(finding: FindingDocument) -> tuple[str, ...]:
    return (
        reading_text(finding, A_TO_B),
        reading_text(finding, B_TO_A),
        value_text(finding),
        finding.get("limit_db", UNKNOWN),
        finding.get("margin_db", UNKNOWN),
        finding["outcome"],
    )


def _open_row(finding: FindingDocument) -> tuple[str, ...]:
    advisory = " (advisory)" if finding["force"] == Force.ADVISORY else ""
    return (
        str(finding["fibre"]),
        place_text(finding),
        number_text(finding.get("position")),
        f"{finding['criterion']}{advisory}",
        value_text(finding),
        finding.get("limit_db", UNKNOWN),
        _reason_text(finding),
    )


def _reason_text(finding: FindingDocument) -> str:
    return finding["detail"] or words(finding.get("reason", UNKNOWN))
