"""Where the project's audit chain stood."""

from worker.package.data.content import PackageContent
from worker.package.document_model import Fact, Facts, Paragraph, Section


def audit_section(content: PackageContent) -> Section:
    """Return where the project's audit chain stood when the package was made."""
    return Section(
        title="Audit head",
        blocks=(
            Paragraph(
                text="Every request that changes something in this project, and every use of the signing key, adds "
                "an entry to a chain in which each entry holds the hash of the one before. When this package was "
                "made the chain ended with this entry."
            ),
            Facts(
                facts=(
                    Fact(label="Entry", value=str(content.audit.sequence)),
                    Fact(label="SHA-256", value=content.audit.hash, is_code=True),
                )
            ),
        ),
    )
