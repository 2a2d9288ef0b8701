"""Small packages with invented names: each test changes the one member that it is about."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from service.vocabulary.canonical import canonical_json, digest_of
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.findings.concession import Concession
from service.vocabulary.findings.finding import (
    VERDICT_FORM,
    FibreDocument,
    FindingDocument,
    UnexpectedEventDocument,
    VerdictDocument,
    VoidDocument,
)
from service.vocabulary.signatures import SignatureLevel, SignedBy
from tests.factories import (
    Body,
    criteria_of,
    link_criterion,
    make_attenuation,
    make_criteria,
    make_design,
    make_instrument,
    make_section,
    make_segment,
    make_site,
    make_splice,
    make_trace,
    required_test_criterion,
    splice_criterion,
    stored,
    termination_criterion,
)
from tests.package_findings import WAVELENGTHS_NM, make_fibre
from worker.package.data.content import (
    PAGES_FORM,
    AuditHead,
    Now,
    PackageContent,
    PackagedRecord,
    Seal,
    SupersededPackage,
    SupersededSegment,
)

_STARTED_AT = datetime(2026, 3, 14, 8, 0, tzinfo=UTC)
_CALIBRATED_UNTIL = "2026-11-30"
_ENDS = {"from_site": "T-A", "to_site": "T-B"}


def make_content(*, fibre_count: int = 4, closure_count: int = 3, **changes: Any) -> PackageContent:
    """Return a package of a route with some fibres and closures."""
    design, criteria = _design(fibre_count=fibre_count, closure_count=closure_count), _criteria()
    fibres = [make_fibre(fibre, closure_count=closure_count) for fibre in range(1, fibre_count + 1)]
    verdict = make_verdict(design, criteria, fibres)
    content = PackageContent(
        number="HBR-7/2",
        project_code="HBR",
        project_name="Harbour ring renewal",
        owner="Tidewater Communications District",
        contractor="Larkfield Cable Works",
        design=design,
        design_revision=3,
        design_agreed_at=datetime(2026, 2, 27, 9, 12, 44, tzinfo=UTC),
        design_sha256=verdict["design_sha256"],
        criteria=criteria,
        criteria_version=2,
        criteria_sha256=verdict["criteria_sha256"],
        verdict=verdict,
        verdict_digest=digest_of(verdict),
        fibres=fibres,
        segments=["SEG-1", "SEG-2"],
        supersedes=[make_earlier("HBR-7/1", {"SEG-1": ("refused", "superseded")})],
        concessions=[
            Concession(criterion="SPL-1550", fibre=1, site="C01", position=1, reason="The pit floods; repair in June.")
        ],
        responsible_person="Mira Øvergaard",
        responsible_position="works manager",
        contractor_signature=SignedBy.SERVICE_SEAL,
        submitted_at=datetime(2026, 3, 20, 15, 4, 5, tzinfo=UTC),
        made_at=datetime(2026, 3, 20, 15, 4, 9, tzinfo=UTC),
        records=list(make_records(fibre_count=min(fibre_count, 4))),
        audit=AuditHead(sequence=418, hash="9f" * 32),
        verification_code="K7QM-2XVD-91TB-PW5E",
        verification_url=None,
        is_demonstration=False,
        program="route-acceptance 0.0.0",
        pages_form=PAGES_FORM,
        seal=Seal(level=SignatureLevel.B_T, time_authority="time.example"),
    )
    return replace(content, **changes)


def make_earlier(
    number: str, segments: Mapping[str, tuple[Any, str]], *, reason: str | None = None
) -> SupersededPackage:
    """Return an earlier package: of each segment the word on it, and what stands of it now."""
    return SupersededPackage(
        number=number,
        decided_at=datetime(2026, 3, 16, 9, 30, tzinfo=UTC),
        is_deemed=False,
        reason=reason,
        segments={
            id_: SupersededSegment(word=word, now=Now(now), superseded_by="HBR-7/2" if now == "superseded" else None)
            for id_, (word, now) in segments.items()
        },
    )


def with_many_segments(content: PackageContent, *, count: int, name: str = "North bank") -> PackageContent:
    """Return the content with further segments, which own no site, up to a count."""
    own = content.design.segments
    added = [
        own[0].model_copy(update={"id": f"SEG-{n}", "name": name, "sites": ()}) for n in range(len(own) + 1, count + 1)
    ]
    segments = (*own, *added)
    outcomes = {segment.id: content.verdict["segments"]["SEG-1"] for segment in segments}
    return replace(
        with_design(content, segments=segments),
        segments=[segment.id for segment in segments],
        verdict={**content.verdict, "segments": outcomes},
    )


def with_design(content: PackageContent, **members: Any) -> PackageContent:
    """Return the content with other members of its design, under the old digest."""
    return replace(content, design=content.design.model_copy(update=members))


def with_unexpected_events(
    content: PackageContent, *, fibre: int, events: Sequence[UnexpectedEventDocument]
) -> PackageContent:
    """Return the content with losses on no joint on one fibre."""
    fibres: list[FibreDocument] = [
        {**one, "unexpected_events": list(events)} if one["fibre"] == fibre else one for one in content.fibres
    ]
    return replace(content, fibres=fibres)


def with_findings(
    content: PackageContent, change: Callable[[FindingDocument], FindingDocument | None]
) -> PackageContent:
    """Return the content with each finding of its fibres changed, or left out where that comes to nothing."""
    fibres: list[FibreDocument] = [
        {**one, "findings": [new for new in map(change, one["findings"]) if new is not None]} for one in content.fibres
    ]
    return replace(content, fibres=fibres)


def with_void(content: PackageContent, *, fibre: int, site: str, void: Sequence[VoidDocument]) -> PackageContent:
    """Return the content with records set aside for every finding about one joint."""
    return with_findings(
        content, lambda one: {**one, "void": list(void)} if (one["fibre"], one.get("site")) == (fibre, site) else one
    )


def with_verdict(content: PackageContent, **members: Any) -> PackageContent:
    """Return the content with another verdict, under its right digest."""
    verdict: Any = {**content.verdict, **members}
    return replace(content, verdict=verdict, verdict_digest=digest_of(verdict))


def packaged(
    body: Body,
    *,
    is_ended: bool = False,
    clock_is_flagged: bool = False,
    end_reason: str | None = None,
    annulment_reason: str | None = None,
) -> PackagedRecord:
    """Return a posted record as a package has it."""
    text = canonical_json(stored(body).body).decode()
    return PackagedRecord(
        text=text,
        is_ended=is_ended,
        clock_is_flagged=clock_is_flagged,
        end_reason=end_reason,
        annulment_reason=annulment_reason,
    )


def with_members(record: PackagedRecord, **members: Any) -> PackagedRecord:
    """Return a record that says something else in some of its members."""
    return replace(record, text=canonical_json({**record.body, **members}).decode())


def make_link_record(number: int, *, fibre: int, loss_db: float, is_ended: bool = False) -> PackagedRecord:
    """Return an attenuation test from A to B; a higher number is made later."""
    instrument = make_instrument("PM-1", calibrated_until=_CALIBRATED_UNTIL)
    body = make_attenuation(
        **_head(number),
        **_ENDS,
        fibre=fibre,
        loss_db=loss_db,
        referenced_at=_STARTED_AT.isoformat(),
        source=instrument,
        meter=instrument,
    )
    return packaged(body, is_ended=is_ended)


def _design(*, fibre_count: int, closure_count: int) -> Design:
    """Return a route with a terminal at each end, closures between them, and two segments."""
    closures = [make_site(f"C{n:02d}", name=f"Quay street pit {n}") for n in range(1, closure_count + 1)]
    sites = [
        make_site("T-A", name="Exchange North", kind="terminal"),
        *closures,
        make_site("T-B", name="Pump house", kind="terminal"),
    ]
    sections = [
        make_section(f"S{n:02d}", cable_length_m=1840.5, slack_m=30.0, excess_percent=0.6, reel=f"R-{n}")
        for n in range(1, closure_count + 2)
    ]
    half = (closure_count + 2) // 2
    segments = [
        make_segment(
            f"SEG-{number}",
            sites=[site["id"] for site in sites[own]],
            sections=[section["id"] for section in sections[own]],
            fibre_count=fibre_count,
            name=f"{bank} bank",
            billing_item=f"FO-01{number}0",
        )
        for number, bank, own in ((1, "North", slice(half)), (2, "South", slice(half, None)))
    ]
    name = "Exchange North to Pump house"
    parts: Body = {"sites": sites, "sections": sections, "segments": segments}
    return Design.model_validate(make_design(code="HBR-7", name=name, fibre_count=fibre_count, **parts))


def _criteria() -> Criteria:
    """Return criteria of every kind."""
    budget = {"kind": "budget", "attenuation_db_per_km": 0.22, "splice_db": 0.1, "connection_db": 0.5}
    criteria = [
        *(
            splice_criterion(
                code=f"SPL-{nm}",
                wavelength_nm=nm,
                clause="5.2.1",
                estimate_action_limit_db=None,
                one_way_action_limit_db=0.15,
            )
            for nm in WAVELENGTHS_NM
        ),
        termination_criterion(code="TRM-1550", limit_db=0.6, clause="5.2.4"),
        link_criterion(code="LNK-1550", limit=budget, clause="5.4"),
        required_test_criterion(code="TST-1310", wavelength_nm=1310, clause="5.1"),
    ]
    return criteria_of(make_criteria(title="Harbour ring, fibre works", document="Schedule C", criteria=criteria))


def make_verdict(design: Design, criteria: Criteria, fibres: Sequence[FibreDocument]) -> VerdictDocument:
    """Return the verdict that goes with some fibres."""
    return {
        "form": VERDICT_FORM,
        "engine": "1",
        "design_sha256": digest_of(design.model_dump(exclude_none=True)),
        "criteria_sha256": digest_of(criteria.model_dump(exclude_none=True)),
        "fibres": [digest_of(fibre) for fibre in fibres],
        "findings": [],
        "suspicions": [],
        "segments": {
            "SEG-1": {
                "outcome": "nonconforming",
                "counts": {"conforming": 22, "nonconforming": 1, "undetermined": 0},
            },
            "SEG-2": {
                "outcome": "conforming",
                "counts": {"conforming": 24, "nonconforming": 0, "undetermined": 0},
            },
        },
    }


def make_records(*, fibre_count: int) -> Iterator[PackagedRecord]:
    """Return splices and traces, the first splice replaced and the last trace under a doubted clock."""
    for fibre in range(1, fibre_count + 1):
        splice = make_splice(
            **_head(fibre), site="C01", fibres=[fibre], splicer_serial="SP-3301", proof_test_passed=None
        )
        yield packaged(splice, is_ended=fibre == 1, end_reason="wrong fibre number typed" if fibre == 1 else None)
        trace = make_trace(
            **_head(fibre + 100),
            **_ENDS,
            fibre=fibre,
            events=[],
            length_m=7400.0,
            instrument_serial="OT-7780",
            calibrated_until=_CALIBRATED_UNTIL,
        )
        yield packaged(trace, clock_is_flagged=fibre == fibre_count)


def _head(number: int) -> Body:
    made_at = (_STARTED_AT + timedelta(minutes=number)).isoformat()
    return {"id": str(UUID(int=number)), "made_at": made_at, "operator": "op-5", "device": "van-2"}
