"""The work list of a route: orders for all its fibres, and the single items behind them."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NotRequired

import orjson
from sqlmodel import Session

from service.storage import verdicts
from service.storage.routes import layout_of
from service.storage.tables import Route
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import LocalFibreDocument, WorkDocument
from service.vocabulary.findings.words import Act
from service.vocabulary.worklist.orders import FibreGroup, OrderDocument, compose_orders
from service.vocabulary.worklist.sentences import say_causes


class WorkItemDocument(WorkDocument):
    """A single item of one fibre: why, in a sentence, and at a single site what the crew sees of the fibre there."""

    because: str
    tray: NotRequired[int]
    towards_a: NotRequired[LocalFibreDocument]
    towards_b: NotRequired[LocalFibreDocument]


def orders_of(session: Session, route: Route) -> list[OrderDocument]:
    """Return the orders of a route, by all fibres as they were judged last and what these tell together."""
    groups = [FibreGroup(tuple(fibres), orjson.loads(work)) for work, fibres in verdicts.work_groups(session, route)]
    groups += [FibreGroup((item["fibre"],), (item,)) for item in _work_of_several(session, route)]
    return compose_orders(layout_of(session, route), groups, items_at=f"/v1/routes/{route.id}/worklist/items")


def items_of(
    session: Session, route: Route, *, act: Act | None, site: str | None, after: int, limit: int
) -> tuple[list[WorkItemDocument], int | None]:
    """Return the items of some fibres in order, and the last of these fibres if others follow.

    What only several fibres tell together stands before them.
    """
    asking: dict[str, Any] = {} if act is None else {"act": act.value}
    if site is not None:
        asking["sites"] = [site]
    rows = verdicts.work_rows(session, route, asking=asking, after=after, limit=limit + 1)
    layout = layout_of(session, route)
    together = _work_of_several(session, route) if after == 0 else ()
    both = [
        *((item["fibre"], item) for item in together),
        *((fibre, item) for fibre, work in rows[:limit] for item in orjson.loads(work)),
    ]
    items = [_shown(layout, fibre, item) for fibre, item in both if _is_asked_for(item, asking)]
    return items, rows[limit - 1][0] if len(rows) > limit else None


def _work_of_several(session: Session, route: Route) -> Sequence[WorkDocument]:
    verdict = verdicts.verdict_document(session, route)
    return () if verdict is None else verdict.get("work", ())


def _is_asked_for(item: WorkDocument, asking: Mapping[str, Any]) -> bool:
    return asking.get("act", item["act"]) == item["act"] and set(asking.get("sites", ())) <= set(item["sites"])


def _shown(layout: Layout, fibre: int, item: WorkDocument) -> WorkItemDocument:
    shown: dict[str, Any] = {**item, "fibre": fibre, "because": say_causes(item["causes"])}
    if len(item["sites"]) == 1 and "tests" not in item:
        shown.update(_seen_there(layout, fibre, item["sites"][0]))
    return shown  # type: ignore[return-value]


def _seen_there(layout: Layout, fibre: int, site: str) -> Iterator[tuple[str, Any]]:
    tray = layout.tray(site, fibre)
    if tray is not None:
        yield "tray", tray
    for name, local in zip(("towards_a", "towards_b"), layout.local_fibres(fibre, site), strict=True):
        if local is not None:
            yield name, local._asdict()
