"""Put a package into words and numbers, in the order in which it is read."""

from service.vocabulary.words import Outcome
from worker.package.cautions import cautions_section
from worker.package.certificate import build_certificate
from worker.package.concessions_section import concessions_section
from worker.package.content import PackageContent
from worker.package.criteria_section import criteria_section
from worker.package.evidence_sections import audit_section, ended_records_section, instruments_section
from worker.package.finding_sections import (
    joints_section,
    link_section,
    open_section,
    submitted_findings,
    terminations_section,
)
from worker.package.pieces import PackageView
from worker.package.route_section import route_section
from worker.package.set_aside_section import set_aside_section
from worker.package.stray_section import strays_section, submitted_strays
from worker.package.weighed import weighed_facts


def build_view(content: PackageContent) -> PackageView:
    """Return everything the package says; no figure is computed or rounded after this."""
    findings, strays = submitted_findings(content), submitted_strays(content)
    return PackageView(
        title=f"Acceptance package {content.number}",
        number=content.number,
        project=content.project_name,
        author=content.contractor,
        subject=f"Route {content.design.code}, {content.design.name}",
        submitted_at=content.submitted_at,
        is_demonstration=content.is_demonstration,
        certificate=build_certificate(content, weighed=weighed_facts(content, findings, strays)),
        sections=(
            cautions_section(),
            route_section(content),
            criteria_section(content, findings),
            open_section(Outcome.NONCONFORMING, title="What does not conform", findings=findings),
            open_section(Outcome.UNDETERMINED, title="What is undetermined", findings=findings),
            strays_section(content, strays),
            concessions_section(content, findings),
            link_section(findings),
            joints_section(findings),
            terminations_section(findings),
            set_aside_section(content, findings),
            instruments_section(content.records),
            ended_records_section(content.records),
            audit_section(content),
        ),
    )
