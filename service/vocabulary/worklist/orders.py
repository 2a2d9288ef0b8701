"""Orders: the single items of a route's fibres put together, one for each act and site, in a foreman's order.

Fibres with the same work come as one group, and neighbouring sites at which the same is to be done as one order: of a
route that nobody has touched, a few lines.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, NotRequired

from typing_extensions import TypedDict

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import AskedTestDocument, CauseDocument, FibreRangeDocument, WorkDocument
from service.vocabulary.findings.words import Act
from service.vocabulary.worklist.local_fibres import LocalNames, ranges_of, write_ranges
from service.vocabulary.worklist.sentences import say_order, say_reason

# Tests come when all else is done, papers and questions at the end.
STAGES: Mapping[str, int] = {Act.TEST: 1, Act.RETEST: 1, Act.POST_RECORD: 2, Act.ASK_ENGINEER: 3}
_RANK = {act.value: rank for rank, act in enumerate(Act)}
# Different reasons that an order gives; what else there is stands in its items.
_MOST_REASONS = 4


class FibreGroup(NamedTuple):
    """Fibres, ascending, that have the same work."""

    fibres: tuple[int, ...]
    work: Sequence[WorkDocument]


class ReasonDocument(TypedDict):
    """Why an order is given, and for which of its fibres; values that differ stand as the least and the greatest."""

    because: str
    criteria: list[str]
    fibres: list[FibreRangeDocument]


class OrderDocument(TypedDict):
    """Something a crew has to do at a site, or at neighbouring ones in the same way, on some fibres.

    `said` is the order in words, `places` the fibres by tube and colour there. One that is not `is_ready` waits for
    what stands before it. One that `opens` is under a lid that is shut; an urgent one is under a lid that is open now.
    A test is addressed to both ends that take part in it. `more_reasons` counts those that are left out of `why`;
    `items` is where the single items are read.
    """

    act: Act
    sites: list[str]
    said: str
    fibres: list[FibreRangeDocument]
    fibre_count: int
    places: str
    tests: NotRequired[list[AskedTestDocument]]
    is_urgent: bool
    is_ready: bool
    opens: bool
    why: list[ReasonDocument]
    more_reasons: int
    items: str


class _Key(NamedTuple):
    """What orders are told apart by: tests of other kinds, or that can be made now, are orders of their own."""

    act: str
    sites: tuple[str, ...]
    tests: str = ""
    is_ready: bool = True


@dataclass(slots=True)
class _Gathered:
    """What fibres together ask for."""

    groups: list[int] = field(default_factory=list)
    is_urgent: bool = False
    is_ready: bool = True
    opens: bool = False
    tests: Sequence[AskedTestDocument] = ()
    reasons: dict[str, "_Reason"] = field(default_factory=dict)

    def add(self, group: int, item: WorkDocument) -> None:
        """Add what a group of fibres asks for."""
        if not self.groups or self.groups[-1] != group:
            self.groups.append(group)
        self.is_urgent |= item["is_urgent"]
        self.opens |= item["opens"]
        self.is_ready &= item["is_ready"]
        self.tests = item.get("tests", ())
        for cause in item["causes"]:
            self.reasons.setdefault(cause["clause"], _Reason()).add(group, cause)


@dataclass(slots=True)
class _Reason:
    """For which groups a clause holds, with which values, by which criteria."""

    groups: list[int] = field(default_factory=list)
    values: list[str] = field(default_factory=list)
    criteria: dict[str, None] = field(default_factory=dict)

    def add(self, group: int, cause: CauseDocument) -> None:
        """Add a cause with this clause."""
        self.groups.append(group)
        self.criteria.update(dict.fromkeys(cause["criteria"]))
        if "value" in cause:
            self.values.append(cause["value"])


def compose_orders(layout: Layout, groups: Sequence[FibreGroup], *, items_at: str) -> list[OrderDocument]:
    """Return the orders that the work of all fibres comes to; `items_at` is where single items are read."""
    gathered: dict[_Key, _Gathered] = {}
    for number, group in enumerate(groups):
        for item in group.work:
            # A design that was revised since may have left a site out: its fibres are judged anew.
            for key in _keys(item) if layout.site_index.keys() >= set(item["sites"]) else ():
                gathered.setdefault(key, _Gathered()).add(number, item)
    _hold_sealing(gathered)
    composer = _Composer(layout, groups, items_at)
    index = layout.site_index
    in_order = sorted(gathered, key=lambda key: (STAGES.get(key.act, 0), index[key.sites[0]], _RANK[key.act]))
    drafts = [_Draft(key, gathered[key], key.sites) for key in in_order]
    joined = _join_neighbours(drafts, composer)
    # One that grew over several sites comes where the last of them does.
    joined.sort(key=lambda draft: (STAGES.get(draft.key.act, 0), index[draft.sites[-1]], _RANK[draft.key.act]))
    return [composer.write(draft) for draft in joined]


def _keys(item: WorkDocument) -> Iterable[_Key]:
    if "tests" in item:
        tests = ";".join(f"{one['test']}{one['wavelengths_nm']}{one['from_sites']}" for one in item["tests"])
        return (_Key(item["act"], tuple(item["sites"]), tests, item["is_ready"]),)
    return [_Key(item["act"], (site,)) for site in item["sites"]]


def _hold_sealing(gathered: Mapping[_Key, _Gathered]) -> None:
    """Let the sealing of a closure wait until nothing is left to do in it on any fibre."""
    at_work = {site for key in gathered if key.act != Act.SEAL and not STAGES.get(key.act) for site in key.sites}
    for key, own in gathered.items():
        if key.act == Act.SEAL and key.sites[0] in at_work:
            own.is_ready = False


@dataclass(slots=True)
class _Draft:
    """An order before it is written: its sites grow where the next one is to be worked at in the same way."""

    key: _Key
    own: _Gathered
    sites: tuple[str, ...]


def _join_neighbours(drafts: Iterable[_Draft], composer: "_Composer") -> list[_Draft]:
    """Return orders that say the same of neighbouring sites as one."""
    joined: list[_Draft] = []
    last_of: dict[str, _Draft] = {}
    for draft in drafts:
        before = last_of.get(draft.key.act)
        if before is not None and composer.follows(before, draft):
            before.sites += draft.sites
        else:
            last_of[draft.key.act] = draft
            joined.append(draft)
    return joined


def _first_reasons(reasons: Mapping[str, _Reason]) -> list[str]:
    """Return the reasons that an order gives, in their order: before a second one of a fibre one of each fibre."""
    told: set[int] = set()
    first: list[str] = []
    for clause, one in reasons.items():
        if not told.issuperset(one.groups):
            told.update(one.groups)
            first.append(clause)
    chosen = set([*first, *(clause for clause in reasons if clause not in set(first))][:_MOST_REASONS])
    return [clause for clause in reasons if clause in chosen]


class _Composer:
    """Writes orders; what several of them have in common is worked out once."""

    def __init__(self, layout: Layout, groups: Sequence[FibreGroup], items_at: str) -> None:
        self._layout, self._names = layout, LocalNames(layout)
        self._groups, self._items_at = groups, items_at
        self._fibres: dict[tuple[int, ...], tuple[int, ...]] = {}

    def follows(self, before: _Draft, draft: _Draft) -> bool:
        """Tell whether an order says the same as one before it, of the next site and one of its kind."""
        if draft.key.tests or before.key.tests or before.own != draft.own:
            return False
        last, site = before.sites[-1], draft.sites[0]
        index, is_closure = self._layout.site_index, self._layout.is_closure
        if index[site] != index[last] + 1 or is_closure(site) != is_closure(last):
            return False
        fibres = self.fibres_of(draft.own.groups)
        return self._names.at(last, fibres) == self._names.at(site, fibres)

    def write(self, draft: _Draft) -> OrderDocument:
        """Write an order."""
        own, act = draft.own, Act(draft.key.act)
        fibres = self.fibres_of(own.groups)
        ranges = ranges_of(fibres)
        document: OrderDocument = {
            "act": act,
            "sites": list(draft.sites),
            "said": say_order(act, draft.sites, ranges, opens=own.opens, tests=own.tests),
            "fibres": write_ranges(ranges),
            "fibre_count": len(fibres),
            "places": self._names.at(draft.sites[0], fibres),
            "is_urgent": own.is_urgent,
            "is_ready": own.is_ready,
            "opens": own.opens,
            "why": [self._reason(clause, own.reasons[clause]) for clause in _first_reasons(own.reasons)],
            "more_reasons": max(0, len(own.reasons) - _MOST_REASONS),
            "items": f"{self._items_at}?act={act.value}&site={draft.sites[0]}",
        }
        if own.tests:
            document["tests"] = list(own.tests)
        return document

    def fibres_of(self, groups: Sequence[int]) -> tuple[int, ...]:
        """Return the fibres of some groups, ascending."""
        key = tuple(dict.fromkeys(groups))
        if key not in self._fibres:
            self._fibres[key] = tuple(sorted({fibre for group in key for fibre in self._groups[group].fibres}))
        return self._fibres[key]

    def _reason(self, clause: str, one: _Reason) -> ReasonDocument:
        return {
            "because": say_reason(clause, one.values),
            "criteria": list(one.criteria),
            "fibres": write_ranges(ranges_of(self.fibres_of(one.groups))),
        }
