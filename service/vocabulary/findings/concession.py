"""Leave to use a named nonconforming joint or fibre, or to do without named evidence, with the reason (ISO 9000)."""

from typing import Annotated

from pydantic import Field

from service.vocabulary import quantities as q
from service.vocabulary.findings.finding import FindingDocument


class Concession(q.Value):
    """A finding that may stay as it is, named by criterion, fibre and, for a joint, site and position.

    One about several fibres together is named without a fibre.
    """

    criterion: q.Identifier
    fibre: q.FibreNumber | None = None
    site: q.Identifier | None = None
    position: Annotated[int, Field(strict=True, ge=1, le=4)] | None = None
    reason: q.Text

    def covers(self, finding: FindingDocument) -> bool:
        """Tell whether a finding is the one that is conceded."""
        return (self.criterion, self.fibre, self.site, self.position) == (
            finding["criterion"],
            finding.get("fibre"),
            finding.get("site"),
            finding.get("position"),
        )
