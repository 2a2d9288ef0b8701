"""What the worker did to a package, as an audit entry."""

from datetime import datetime

from service.storage.head import Deed
from service.storage.tables import Package


def deed_to(package: Package, *, action: str, content_sha256: str, at: datetime) -> Deed:
    """Return the worker's deed to a package, about content with this SHA-256."""
    return Deed(at=at, actor="worker", action=action, subject=str(package.id), content_sha256=content_sha256)
