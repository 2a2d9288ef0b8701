"""Which losses are those of a splice by itself: no trace sees a splice apart from a connection in its dead zone."""

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.words import FibreAction, SiteKind
from worker.package.tenths import to_tenths


class ConnectionsOnRoute:
    """Where fibres are terminated, looked up once for each site that can have a connection."""

    def __init__(self, layout: Layout) -> None:
        planned = {entry.site for entry in layout.design.splice_plan}
        self._layout = layout
        self._sites = {
            site.id: site
            for site in layout.design.sites
            if site.kind is not SiteKind.SPLICE_CLOSURE or site.id in planned
        }

    def stands_before(self, splice: FindingDocument) -> bool:
        """Tell whether a splice has a connection at its own site."""
        site = self._sites.get(splice["site"])
        return site is not None and self._layout.action(site, splice["fibre"]) is FibreAction.TERMINATED


def is_held_as_splice(finding: FindingDocument, *, limit: int) -> bool:
    """Tell whether a loss meets the splice's own limit, in 0.0001 dB.

    In one dead zone with a connection a splice is decided by the limit of that, and the loss is that of both.
    """
    return to_tenths(finding["limit"]) == limit or bool(finding.get("by_fallback"))
