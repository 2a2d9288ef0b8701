"""Small packages with invented names: each test changes the one member that it is about."""

import json
from collections.abc import Iterator, Mapping, Sequence
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
from service.vocabulary.people import PrintedPerson
from service.vocabulary.records.record import RECORD, canonical_record
from service.vocabulary.signature_level import SignatureLevel
from service.vocabulary.signatures import SignedBy
from tests.package_findings import WAVELENGTHS_NM, make_fibre
from worker.package.content import (
    EarlierPackage,
    EarlierSegment,
    Now,
    PackageContent,
    PackagedRecord,
    PlannedSeal,
)

_STARTED_AT = datetime(2026, 3, 14, 8, 0, tzinfo=UTC)


def make_content(*, fibre_count: int = 4, closure_count: int = 3, **changes: Any) -> PackageContent:
    """Return a package of a route with some fibres and closures."""
    design, criteria = make_design(fibre_count=fibre_count, closure_count=closure_count), make_criteria()
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
        responsible_person=PrintedPerson(name="Mira Øvergaard", position="works manager"),
        contractor_signature=SignedBy.SERVICE_SEAL,
        submitted_at=datetime(2026, 3, 20, 15, 4, 5, tzinfo=UTC),
        made_at=datetime(2026, 3, 20, 15, 4, 9, tzinfo=UTC),
        records=list(make_records(fibre_count=min(fibre_count, 4))),
        audit_sequence=418,
        audit_hash="9f" * 32,
        verification_code="K7QM-2XVD-91TB-PW5E",
        verification_url=None,
        is_demonstration=False,
        program="route-acceptance 0.0.0",
        seal=PlannedSeal(level=SignatureLevel.B_T, time_authority="time.example"),
    )
    return replace(content, **changes)


def make_earlier(
    number: str, segments: Mapping[str, tuple[str | None, str]], *, reason: str | None = None
) -> EarlierPackage:
    """Return an earlier package: of each segment the word on it, and what stands of it now."""
    return EarlierPackage(
        number=number,
        decided_at=datetime(2026, 3, 16, 9, 30, tzinfo=UTC),
        reason=reason,
        segments={
            id_: EarlierSegment(word=word, now=Now(now), superseded_by="HBR-7/2" if now == "superseded" else None)
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
        content,
        design=content.design.model_copy(update={"segments": segments}),
        segments=[segment.id for segment in segments],
        verdict={**content.verdict, "segments": outcomes},
    )


def with_strays(content: PackageContent, *, fibre: int, events: Sequence[UnexpectedEventDocument]) -> PackageContent:
    """Return the content with losses on no joint on one fibre."""
    fibres: list[FibreDocument] = [
        {**one, "unexpected_events": list(events)} if one["fibre"] == fibre else one for one in content.fibres
    ]
    return replace(content, fibres=fibres)


def with_void(content: PackageContent, *, fibre: int, site: str, void: Sequence[VoidDocument]) -> PackageContent:
    """Return the content with records set aside for every finding about one joint."""
    fibres: list[FibreDocument] = []
    for one in content.fibres:
        findings = [f if (f["fibre"], f.get("site")) != (fibre, site) else _voided(f, void) for f in one["findings"]]
        fibres.append({**one, "findings": findings})
    return replace(content, fibres=fibres)


def make_link_record(number: int, *, fibre: int, loss_db: float, is_ended: bool = False) -> PackagedRecord:
    """Return an attenuation test from A to B; a higher number is made later."""
    instrument = {"serial": "PM-1", "calibrated_until": "2026-11-30"}
    body = _record(
        number,
        kind="attenuation",
        fibre=fibre,
        from_site="T-A",
        to_site="T-B",
        wavelength_nm=1550,
        loss_db=loss_db,
        reference_cords=1,
        referenced_at=_STARTED_AT.isoformat(),
        source=instrument,
        meter=instrument,
    )
    return PackagedRecord(body=body, is_ended=is_ended, clock_is_flagged=False)


def make_design(*, fibre_count: int, closure_count: int) -> Design:
    """Return a route with a terminal at each end, closures between them, and two segments."""
    closures = [f"C{number:02d}" for number in range(1, closure_count + 1)]
    sites = ["T-A", *closures, "T-B"]
    kinds = ["terminal", *["splice_closure"] * closure_count, "terminal"]
    names = ["Exchange North", *[f"Quay street pit {number}" for number in range(1, closure_count + 1)], "Pump house"]
    sections = [f"S{number:02d}" for number in range(1, closure_count + 2)]
    half = (closure_count + 2) // 2
    scope = [{"first": 1, "last": fibre_count}]
    return Design.model_validate(
        {
            "code": "HBR-7",
            "name": "Exchange North to Pump house",
            "fibre_count": fibre_count,
            "sites": [
                {"id": id_, "name": name, "kind": kind} for id_, name, kind in zip(sites, names, kinds, strict=True)
            ],
            "sections": [
                {
                    "id": id_,
                    "cable_length_m": 1840.5,
                    "slack_m": 30.0,
                    "excess_percent": 0.6,
                    "fibre_type": "G.652.D",
                    "reel": f"R-{number}",
                }
                for number, id_ in enumerate(sections, start=1)
            ],
            "segments": [
                {
                    "id": "SEG-1",
                    "name": "North bank",
                    "billing_item": "FO-0110",
                    "sites": sites[:half],
                    "sections": sections[:half],
                    "fibres": scope,
                },
                {
                    "id": "SEG-2",
                    "name": "South bank",
                    "billing_item": "FO-0120",
                    "sites": sites[half:],
                    "sections": sections[half:],
                    "fibres": scope,
                },
            ],
        }
    )


def make_criteria() -> Criteria:
    """Return criteria of every kind."""
    splices = [
        {
            "code": f"SPL-{nm}",
            "quantity": "splice_loss",
            "wavelength_nm": nm,
            "limit_db": 0.1,
            "clause": "5.2.1",
            "one_way_action_limit_db": 0.15,
        }
        for nm in WAVELENGTHS_NM
    ]
    budget = {"kind": "budget", "attenuation_db_per_km": 0.22, "splice_db": 0.1, "connection_db": 0.5}
    others = [
        {"code": "TRM-1550", "quantity": "termination_loss", "wavelength_nm": 1550, "limit_db": 0.6, "clause": "5.2.4"},
        {
            "code": "LNK-1550",
            "quantity": "link_attenuation",
            "wavelength_nm": 1550,
            "combination": "mean",
            "limit": budget,
            "least_attenuation_db_per_km": 0.16,
            "clause": "5.4",
        },
        {"code": "TST-1310", "quantity": "required_test", "test": "otdr", "wavelength_nm": 1310, "clause": "5.1"},
    ]
    return Criteria.model_validate(
        {"title": "Harbour ring, fibre works", "document": "Schedule C", "criteria": [*splices, *others]}
    )


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
        yield PackagedRecord(
            body=_record(
                fibre,
                kind="splice",
                site="C01",
                joints=[{"fibre": fibre, "estimate_db": 0.02}],
                splicer_serial="SP-3301",
                sleeve_shrunk=True,
            ),
            is_ended=fibre == 1,
            clock_is_flagged=False,
            end_reason="wrong fibre number typed" if fibre == 1 else None,
        )
        yield PackagedRecord(
            body=_record(
                fibre + 100,
                kind="otdr",
                fibre=fibre,
                from_site="T-A",
                to_site="T-B",
                wavelength_nm=1550,
                pulse_ns=30,
                range_m=10000.0,
                averaging_s=30.0,
                group_index=1.468,
                backscatter_db=-81.5,
                loss_threshold_db=0.02,
                instrument_serial="OT-7780",
                calibrated_until="2026-11-30",
                events=[],
                length_m=7400.0,
            ),
            is_ended=False,
            clock_is_flagged=fibre == fibre_count,
        )


def _record(number: int, **members: Any) -> dict[str, Any]:
    made_at = (_STARTED_AT + timedelta(minutes=number)).isoformat()
    base = {"id": str(UUID(int=number)), "made_at": made_at, "operator": "op-5", "device": "van-2"}
    record = canonical_record(RECORD.validate_python({**base, **members, "id": UUID(int=number)}))
    # As it is read back: the stored form holds ids and days as text.
    body: dict[str, Any] = json.loads(canonical_json(record))
    return body


def _voided(finding: FindingDocument, void: Sequence[VoidDocument]) -> FindingDocument:
    return {**finding, "void": list(void)}
