"""The forms of answers about routes, and of a criteria version that is named by its number."""

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from service.vocabulary import quantities as q
from service.vocabulary.criteria.review import CriteriaReport


class CriteriaAnswer(BaseModel):
    """A criteria version as it is kept: canonical, its quantities as decimal strings."""

    version: int
    sha256: str
    criteria: dict[str, Any]
    reports: list[CriteriaReport]


class CriteriaVersionForm(q.Value):
    """A criteria version, by its number."""

    version: Annotated[q.RowNumber, Field(strict=True)]


class RouteAnswer(BaseModel):
    """A route and what binds it."""

    model_config = ConfigDict(from_attributes=True)

    id: UUID
    project_id: UUID
    code: str
    version: int
    design_revision: int
    criteria_version: int | None
    proposed_criteria_version: int | None


class BoundRouteAnswer(RouteAnswer):
    """A route, and the reports on the criteria that were named for it."""

    reports: list[CriteriaReport]


class DesignAnswer(BaseModel):
    """A route's current design as it is kept: canonical, its quantities as decimal strings."""

    revision: int
    sha256: str
    design: dict[str, Any]
