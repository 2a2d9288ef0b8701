"""Judging a simulated route on trial, and scoring every finding against what was behind the events."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from functools import cached_property

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.findings.suspicion import Suspicion
from service.vocabulary.records.record import RECORD, fibres_of
from tests.factories import (
    Body,
    bend_criterion,
    continuity_criterion,
    criteria_of,
    layout_of,
    length_criterion,
    link_criterion,
    make_criteria,
    reflectance_criterion,
    required_test_criterion,
    stored,
    stray_criterion,
    termination_criterion,
)
from tests.simulator.faults import FaultKind
from tests.simulator.trial import Shown, Trial
from worker.judgement.history.acts import Record
from worker.judgement.judge import FibreJudgement, Rules
from worker.judgement.route.left_out import left_out_findings
from worker.judgement.route.pooling import locate_sites
from worker.judgement.route.suspicions import suspicions_of

SPLICE_LIMIT_DB = 0.15
TERMINATION_LIMIT_DB = 0.5
STRAY_LIMIT_DB = 0.05
BEND_LIMIT_DB = 0.2
BEND_RATIO = 1.5
REFLECTANCE_LIMIT_DB = -40.0


def trial_criteria() -> Body:
    """Return criteria that hold every event a trace can show, at both wavelengths where that tells more."""
    splice = {"quantity": "splice_loss", "limit_db": SPLICE_LIMIT_DB}
    per_wavelength = [
        criterion
        for nm in (1310, 1550)
        for criterion in (
            required_test_criterion(code=f"OTDR-{nm}", wavelength_nm=nm),
            {"code": f"SPLICE-{nm}", "wavelength_nm": nm, **splice},
            termination_criterion(code=f"TERM-{nm}", wavelength_nm=nm, limit_db=TERMINATION_LIMIT_DB),
        )
    ]
    # What glass and joints are allowed is more than they ever have: the link's loss is held against its parts.
    links = [
        link_criterion(
            code=f"LINK-{nm}",
            wavelength_nm=nm,
            reference_cords=1,
            uncertainty_db=0.2,
            least_attenuation_db_per_km=least,
            limit={"kind": "budget", "attenuation_db_per_km": most, "splice_db": 0.15, "connection_db": 0.5},
        )
        for nm, least, most in ((1310, 0.28, 0.4), (1550, 0.16, 0.25))
    ]
    return make_criteria(
        # Where routes are drawn without dynamic range their noise is the same everywhere, and no record states one.
        placing={"unseen_within_db": 60.0},
        criteria=[
            *per_wavelength,
            *links,
            stray_criterion(code="STRAY", limit_db=STRAY_LIMIT_DB),
            bend_criterion(limit_db=BEND_LIMIT_DB, ratio=BEND_RATIO),
            reflectance_criterion(code="REFLECTANCE", limit_db=REFLECTANCE_LIMIT_DB),
            length_criterion(limit_percent=4.0),
            continuity_criterion(code="CONTINUITY"),
        ],
    )


def judge_posted(given: Body, *, fibre: int) -> FibreJudgement:
    """Judge one fibre by the `records` of a route with its `design` and `criteria`, all as they are posted."""
    layout = layout_of(given["design"])
    records = given["records"]
    own = [record for record in records if fibre in (fibres_of(RECORD.validate_python(record)) or {fibre})]
    rules = Rules(layout, criteria_of(given["criteria"]))
    return rules.judge(fibre, rules.read(map(stored, own)))


@dataclass(frozen=True, kw_only=True)
class JudgedFibre:
    """A fibre of a trial with what its traces listed, by record, and what the judge made of them.

    `suspected_of` is what looks unlikely in honest work when the whole route's tests are seen together, `left_open` why
    something of it is not proven beside the other fibres.
    """

    trial: Trial
    number: int
    shown: Mapping[str, Shown]
    judgement: FibreJudgement
    suspected_of: frozenset[str] = frozenset()
    left_open: frozenset[str] = frozenset()

    @property
    def findings(self) -> list[FindingDocument]:
        """Everything found about the fibre."""
        return self.judgement.document["findings"]

    @property
    def name(self) -> str:
        """How to draw this fibre again."""
        return f"seed {self.trial.seed}, fibre {self.number}, {self.trial.fault_of(self.number)}"

    @cached_property
    def _dead_zones(self) -> Mapping[int, frozenset[int]]:
        return self.trial.dead_zones(self.number)

    def dead_zone_at(self, finding: FindingDocument) -> frozenset[int]:
        """Return the sites that no trace tells from the one that a finding is about."""
        return self._dead_zones[self.site_index(finding)]

    def site_index(self, finding: FindingDocument) -> int:
        """Return the index of the site that a finding is about."""
        return self.trial.course.sites.index(finding["site"])


def judge_trial(trial: Trial) -> list[JudgedFibre]:
    """Judge every fibre of a route on trial."""
    rules = Rules(layout_of(trial.course.design), criteria_of(trial_criteria()))
    sealed = rules.read(map(stored, trial.site_records()))
    evidence: dict[int, list[Record]] = defaultdict(list)
    shown: dict[int, dict[str, Shown]] = defaultdict(dict)
    for record in (*trial.splice_records(), *trial.continuity_records(), *trial.power_records()):
        own = rules.read([stored(record)])
        for fibre in fibres_of(RECORD.validate_python(record)):
            evidence[fibre] += own
    for record, behind in trial.traces():
        evidence[behind.fibre] += rules.read([stored(record)])
        shown[behind.fibre][behind.record] = behind
    layout = layout_of(trial.course.design)
    judgements = judge_route(layout, rules, {fibre: [*sealed, *own] for fibre, own in sorted(evidence.items())})
    contributions = {fibre: one.contributions for fibre, one in judgements.items()}
    left_out = left_out_findings(layout, criteria_of(trial_criteria()), contributions)
    judged = [
        JudgedFibre(
            trial=trial,
            number=fibre,
            shown=shown[fibre],
            judgement=judgement,
            left_open=frozenset(one.judged.detail for one in left_out if one.fibre == fibre),
        )
        for fibre, judgement in judgements.items()
    ]
    return list(_suspect(trial, judged))


def judge_route(layout: Layout, rules: Rules, evidence: Mapping[int, Sequence[Record]]) -> dict[int, FibreJudgement]:
    """Judge all fibres of a route by their records: the one place where trials meet the judge."""
    placing = criteria_of(trial_criteria()).placing
    spots = locate_sites(layout, placing, {fibre: rules.sight(fibre, own) for fibre, own in evidence.items()})
    return {fibre: rules.judge(fibre, own, spots=spots.of(fibre)) for fibre, own in evidence.items()}


def _suspect(trial: Trial, judged: Sequence[JudgedFibre]) -> Iterator[JudgedFibre]:
    copied = {fault.fibre for fault in trial.faults if fault.kind is FaultKind.COPIED_FIBRE}
    for fibre in judged:
        if fibre.number in copied:
            # Each copy is looked for alone: of one kind only the first few are written down.
            yield replace(fibre, suspected_of=_suspected_of(fibre, among=_others(judged, copied - {fibre.number})))
    honest = _others(judged, copied)
    found = suspicions_of({one.number: one.judgement.contributions for one in honest})
    for fibre in honest:
        yield replace(fibre, suspected_of=_kinds(found, fibre))


def _others(judged: Sequence[JudgedFibre], left_out: Set[int]) -> list[JudgedFibre]:
    return [fibre for fibre in judged if fibre.number not in left_out]


def _suspected_of(fibre: JudgedFibre, *, among: Sequence[JudgedFibre]) -> frozenset[str]:
    return _kinds(suspicions_of({one.number: one.judgement.contributions for one in among}), fibre)


def _kinds(found: Sequence[Suspicion], fibre: JudgedFibre) -> frozenset[str]:
    return frozenset(one.kind.value for one in found if fibre.number in one.fibres)
