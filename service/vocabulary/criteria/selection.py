"""What a criterion is about: joints by where they lie, how they are spliced and what they join; sections by name."""

from enum import StrEnum
from typing import Annotated, ClassVar

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.base import Criterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind, SiteKind, Splicing


class Where(StrEnum):
    """Where joints lie: in closures along the line; spliced where fibres end; all at the route's ends; all in panels.

    A pigtail's splice is a terminal splice, at a terminal and in a patch panel. Along the cable none lies: what traces
    show there is on no joint.
    """

    LINE_CLOSURES = "line_closures"
    TERMINAL_SPLICES = "terminal_splices"
    TERMINALS = "terminals"
    PANELS = "panels"
    CABLE = "cable"


_SITE_KINDS: dict[Where | None, frozenset[SiteKind]] = {
    None: frozenset(SiteKind),
    Where.LINE_CLOSURES: frozenset({SiteKind.SPLICE_CLOSURE}),
    Where.TERMINAL_SPLICES: frozenset({SiteKind.TERMINAL, SiteKind.PATCH_PANEL}),
    Where.TERMINALS: frozenset({SiteKind.TERMINAL}),
    Where.PANELS: frozenset({SiteKind.PATCH_PANEL}),
    Where.CABLE: frozenset(),
}
_SPLICES_ONLY = {Where.LINE_CLOSURES, Where.TERMINAL_SPLICES}
SPLICES, PAIRS = frozenset({JointKind.SPLICE}), frozenset({JointKind.PAIR})

Ids = Annotated[tuple[q.Identifier, ...], Field(min_length=1, max_length=100)]
FibreTypes = Annotated[tuple[q.Identifier, ...], Field(min_length=2, max_length=2)]


class OfJoints(Criterion):
    """A criterion about joints: `at` says where they lie, by a word or by the names of sites; else it is everywhere.

    Where it is about what lies on no joint too, `at` may name sections beside sites.
    """

    at: Where | Ids | None = None

    kinds: ClassVar[frozenset[JointKind]] = SPLICES | PAIRS

    @property
    def joint_kinds(self) -> frozenset[JointKind]:
        """The kinds of joint that it can be about."""
        named = getattr(self, "joint", None)
        return self.kinds if named is None else frozenset({named})

    @property
    def is_of_some_splices(self) -> bool:
        """Tell whether it is about splices of one kind alone."""
        return False

    @property
    def is_of_cable_too(self) -> bool:
        """Tell whether it can be about what lies on no joint."""
        return False

    def selects_at(self, site: str, kind: SiteKind) -> bool:
        """Tell whether it is about joints at a site."""
        return site in self.at if isinstance(self.at, tuple) else kind in _SITE_KINDS[self.at]

    def selects_section(self, section: str) -> bool:
        """Tell whether it is about what lies on no joint in a section."""
        named = section in self.at if isinstance(self.at, tuple) else self.at in {None, Where.CABLE}
        return self.is_of_cable_too and named

    def selects(self, joint: Joint) -> bool:
        """Tell whether it is about a joint at a site where it holds."""
        return self.at is not Where.TERMINAL_SPLICES or joint.kind is JointKind.SPLICE

    @model_validator(mode="after")
    def _lie_where_such_joints_are(self) -> "OfJoints":
        if isinstance(self.at, tuple):
            _name_each_once(self.at)
        elif self.at is Where.CABLE and not self.is_of_cable_too:
            raise ValueError("no joint lies along the cable")
        elif self.at in _SPLICES_ONLY and JointKind.SPLICE not in self.joint_kinds:
            raise ValueError(f"no mated pair is among {self.at}")
        return self


class OfSplices(OfJoints):
    """A criterion that can be about some splices only: single or by ribbon, and by the two fibre types they join.

    `joining` names two types in any order, each by its name or by what stands before a point in it: G.652 is any of
    G.652.A to G.652.D.
    """

    splicing: Splicing | None = None
    joining: FibreTypes | None = None

    @property
    def is_of_some_splices(self) -> bool:
        """Tell whether it is about splices of one kind alone."""
        return self.splicing is not None or self.joining is not None

    def selects(self, joint: Joint) -> bool:
        """Tell whether it is about a joint at a site where it holds."""
        if not super().selects(joint) or (self.is_of_some_splices and joint.kind is not JointKind.SPLICE):
            return False
        return self.splicing in {None, joint.splicing} and (self.joining is None or _join(self.joining, joint))

    @model_validator(mode="after")
    def _are_splices(self) -> "OfSplices":
        if self.is_of_some_splices and JointKind.SPLICE not in self.joint_kinds:
            raise ValueError("splicing and joining are said of splices")
        return self


class OfSections(Criterion):
    """A criterion about the fibre in sections: `at` names them; else it is about all."""

    at: Ids | None = None

    def selects_section(self, section: str) -> bool:
        """Tell whether it is about a section."""
        return self.at is None or section in self.at

    @model_validator(mode="after")
    def _name_sections_once(self) -> "OfSections":
        _name_each_once(self.at or ())
        return self


def is_of_type(fibre_type: str | None, named: str) -> bool:
    """Tell whether a fibre is of a type, or of one under it: G.652.D is a G.652."""
    return fibre_type is not None and (fibre_type == named or fibre_type.startswith(f"{named}."))


def joins_unlike(joint: Joint) -> bool:
    """Tell whether a splice joins fibres of two types, as far as both are known: a G.652.D is no other than a G.652."""
    here, there = joint.joining or (None, None)
    return None not in {here, there} and not (is_of_type(here, there or "") or is_of_type(there, here or ""))


def selects_within(inner: Criterion, outer: Criterion) -> bool:
    """Tell whether all that one criterion is about is surely what another is about too, as far as joints go."""
    if isinstance(outer, OfSections) and isinstance(inner, OfSections):
        return outer.at is None or (inner.at is not None and set(inner.at) <= set(outer.at))
    if not isinstance(outer, OfJoints):
        return True
    within = _lies_within(inner, outer) if isinstance(inner, OfJoints) else outer.at is None
    return within and all(
        getattr(outer, name, None) is None or _same(name, getattr(inner, name, None), getattr(outer, name))
        for name in ("splicing", "joining")
    )


def can_meet(one: OfJoints, other: OfJoints) -> bool:
    """Tell whether two criteria can be about joints of one site; of names and words together nobody can tell."""
    if isinstance(one.at, tuple) and isinstance(other.at, tuple):
        return not set(one.at).isdisjoint(other.at)
    if isinstance(one.at, tuple) or isinstance(other.at, tuple):
        return None in {one.at, other.at}
    kinds = _SITE_KINDS[one.at] & _SITE_KINDS[other.at]
    return not kinds <= {SiteKind.SPLICE_CLOSURE, SiteKind.STUB} or one.joint_kinds == other.joint_kinds == SPLICES


def _lies_within(inner: OfJoints, outer: OfJoints) -> bool:
    if outer.at is None or inner.at == outer.at:
        return True
    if isinstance(inner.at, tuple) or isinstance(outer.at, tuple):
        both_named = isinstance(inner.at, tuple) and isinstance(outer.at, tuple)
        return both_named and set(inner.at or ()) <= set(outer.at)
    if Where.CABLE in {inner.at, outer.at}:
        return False
    is_of_pairs_too = outer.at is Where.TERMINAL_SPLICES and JointKind.PAIR in inner.joint_kinds
    return not is_of_pairs_too and _SITE_KINDS[inner.at] <= _SITE_KINDS[outer.at]


def _same(name: str, inner: object, outer: object) -> bool:
    is_pair = name == "joining" and isinstance(inner, tuple) and isinstance(outer, tuple)
    return sorted(inner) == sorted(outer) if is_pair else inner == outer  # type: ignore[call-overload]


def _name_each_once(named: tuple[str, ...]) -> None:
    if len(set(named)) != len(named):
        raise ValueError("at names something twice")


def _join(named: tuple[str, ...], joint: Joint) -> bool:
    if joint.joining is None:
        return False
    (one, other), (here, there) = named, joint.joining
    return (is_of_type(here, one) and is_of_type(there, other)) or (is_of_type(here, other) and is_of_type(there, one))
