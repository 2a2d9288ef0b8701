"""Faults put into a route's truth, each of a size: what went wrong with the work, and what with the tests of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from tests.simulator.course import Course
from tests.simulator.draws import draw_between
from tests.simulator.instrument import Direction
from tests.simulator.truth import RouteTruth


class FaultKind(StrEnum):
    """What is wrong with a fibre, or with its traces."""

    BAD_SPLICE = "bad_splice"
    BEND_IN_CLOSURE = "bend_in_closure"
    BEND_IN_CABLE = "bend_in_cable"
    DIRTY_CONNECTOR = "dirty_connector"
    CROSSED_FIBRES = "crossed_fibres"
    BREAK = "break"
    EXPRESS_CUT = "express_cut"
    ECHO = "echo"
    MISSING_EVENT = "missing_event"
    COPIED_FIBRE = "copied_fibre"
    DELETED_EVENT = "deleted_event"
    INVERTED_SIGN = "inverted_sign"
    NEAR_COPY = "near_copy"
    MEASURED_AGAIN = "measured_again"
    ONE_DIRECTION_COPIED = "one_direction_copied"
    SWAPPED_FROM_B = "swapped_from_b"
    POWER_REPEATED = "power_repeated"


# What somebody did to the papers, and not to the fibre.
PEOPLE = frozenset(
    {
        FaultKind.DELETED_EVENT,
        FaultKind.INVERTED_SIGN,
        FaultKind.NEAR_COPY,
        FaultKind.MEASURED_AGAIN,
        FaultKind.ONE_DIRECTION_COPIED,
        FaultKind.SWAPPED_FROM_B,
        FaultKind.POWER_REPEATED,
    }
)
# Faults that a fibre has together with its neighbour; crossed and swapped are both of them, of copies only the second.
PAIRED = frozenset(
    {
        FaultKind.CROSSED_FIBRES,
        FaultKind.COPIED_FIBRE,
        FaultKind.NEAR_COPY,
        FaultKind.MEASURED_AGAIN,
        FaultKind.ONE_DIRECTION_COPIED,
        FaultKind.SWAPPED_FROM_B,
        FaultKind.POWER_REPEATED,
    }
)
MUTUAL = frozenset({FaultKind.CROSSED_FIBRES, FaultKind.SWAPPED_FROM_B})

# What shows as a loss where the design has no joint.
STRAYS = frozenset({FaultKind.BEND_IN_CABLE, FaultKind.EXPRESS_CUT})


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One fault of one fibre.

    `site` is the index of the site it is at, `at_m` its true distance from A where it is in a cable, and `other` the
    fibre that is crossed with or copied from. `size_db` is the loss put in at the longest wavelength, or how much
    stronger a reflection was made.
    """

    kind: FaultKind
    fibre: int
    size_db: float = 0.0
    site: int | None = None
    at_m: float | None = None
    other: int | None = None


_Draw = Callable[[np.random.Generator, Course, int], Fault]

# A bend loses far more the longer the wave, common practice, no source; a fifth at the shortest is mild.
_BEND_AT_SHORTEST = 0.2
_DIRT_REFLECTS_DB = 30.0


def draw_faults(source: np.random.Generator, course: Course, kind: FaultKind) -> tuple[Fault, ...]:
    """Draw one fault of a kind for every fibre of a route, or for every second one where two fibres share it."""
    step = 2 if kind in PAIRED else 1
    fibres = range(1, course.truth.fibre_count + 1, step)
    return tuple(_DRAWS[kind](source, course, fibre) for fibre in fibres)


def build(truth: RouteTruth, faults: Sequence[Fault]) -> RouteTruth:
    """Return the route as it stands with its faults, fibres numbered as they leave A."""
    for fault in faults:
        change = _CHANGES.get(fault.kind)
        truth = truth if change is None else change(truth, fault)
    return truth


def as_tested(truth: RouteTruth, faults: Sequence[Fault], direction: Direction) -> RouteTruth:
    """Return the glass behind the traces of each number: from B as fibres leave it, or as somebody plugged them."""
    rows = np.arange(truth.fibre_count)
    for fault in faults:
        if fault.other is None:
            continue
        pair = [fault.fibre - 1, fault.other - 1]
        if fault.kind in MUTUAL and direction is Direction.B_TO_A:
            rows[pair] = rows[pair[::-1]]
        elif fault.kind is FaultKind.MEASURED_AGAIN:
            rows[fault.fibre - 1] = fault.other - 1
    return _with_rows(truth, rows)


def stray_losses_db(truth: RouteTruth, fault: Fault) -> list[float]:
    """Return what a fault that is at no joint loses at each wavelength."""
    if fault.kind is FaultKind.BEND_IN_CABLE:
        return _bend_losses_db(truth, fault)
    return [fault.size_db] * len(truth.wavelengths_nm)


def _bend_losses_db(truth: RouteTruth, fault: Fault) -> list[float]:
    return [fault.size_db * _BEND_AT_SHORTEST] * (len(truth.wavelengths_nm) - 1) + [fault.size_db]


def _size_db(source: np.random.Generator, *, low: float, high: float) -> float:
    return float(draw_between(source, (), low=low, high=high))


def _spliced_at(source: np.random.Generator, course: Course, fibre: int) -> int:
    return 1 + int(source.choice(np.flatnonzero(course.truth.has_splice[fibre - 1, 1:-1])))


def _draw_bad_splice(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    size_db = _size_db(source, low=0.05, high=0.6)
    return Fault(kind=FaultKind.BAD_SPLICE, fibre=fibre, size_db=size_db, site=_spliced_at(source, course, fibre))


def _draw_bend_in_closure(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    size_db = _size_db(source, low=0.1, high=1.2)
    return Fault(kind=FaultKind.BEND_IN_CLOSURE, fibre=fibre, size_db=size_db, site=_spliced_at(source, course, fibre))


def _draw_bend_in_cable(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    at_m = _size_db(source, low=0, high=float(course.truth.lengths_m[fibre - 1]))
    return Fault(kind=FaultKind.BEND_IN_CABLE, fibre=fibre, size_db=_size_db(source, low=0.03, high=0.6), at_m=at_m)


def _draw_dirty_connector(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    site = 0 if source.random() < 0.5 else len(course.sites) - 1
    size_db = _size_db(source, low=0.1, high=1.0)
    return Fault(kind=FaultKind.DIRTY_CONNECTOR, fibre=fibre, size_db=size_db, site=site)


def _draw_crossed(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    both = course.truth.has_splice[[fibre - 1, fibre], 1:-1].all(axis=0)
    site = 1 + int(source.choice(np.flatnonzero(both)))
    return Fault(kind=FaultKind.CROSSED_FIBRES, fibre=fibre, site=site, other=fibre + 1)


def _draw_break(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    at_m = _size_db(source, low=0, high=float(course.truth.lengths_m[fibre - 1]))
    return Fault(kind=FaultKind.BREAK, fibre=fibre, at_m=at_m)


def _draw_express_cut(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    """Cut an express fibre and splice it again; where a route has none, splice the cable in mid-section."""
    own = [site for site, fibres in course.uncut.items() if fibre in fibres]
    size_db = _size_db(source, low=0.02, high=0.3)
    if own:
        site = int(source.choice(own))
        at_m = float(course.truth.site_offsets_m[fibre - 1, site])
    else:
        at_m = _size_db(source, low=0, high=float(course.truth.lengths_m[fibre - 1]))
    return Fault(kind=FaultKind.EXPRESS_CUT, fibre=fibre, size_db=size_db, at_m=at_m)


def _draw_echo(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    return Fault(kind=FaultKind.ECHO, fibre=fibre, size_db=_size_db(source, low=15, high=25))


def _draw_missing(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    return Fault(kind=FaultKind.MISSING_EVENT, fibre=fibre, site=_spliced_at(source, course, fibre))


def _draw_deleted(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    size_db = _size_db(source, low=0.0, high=1.0)
    return Fault(kind=FaultKind.DELETED_EVENT, fibre=fibre, size_db=size_db, site=_spliced_at(source, course, fibre))


def _draw_inverted(source: np.random.Generator, course: Course, fibre: int) -> Fault:
    size_db = _size_db(source, low=0.0, high=0.6)
    return Fault(kind=FaultKind.INVERTED_SIGN, fibre=fibre, size_db=size_db, site=_spliced_at(source, course, fibre))


def _draw_from_neighbour(kind: FaultKind) -> _Draw:
    return lambda _source, _course, fibre: Fault(kind=kind, fibre=fibre + 1, other=fibre)


def _add_splice_loss(truth: RouteTruth, fault: Fault) -> RouteTruth:
    return _with_more_loss(truth, fault, [fault.size_db] * len(truth.wavelengths_nm))


def _add_bend(truth: RouteTruth, fault: Fault) -> RouteTruth:
    return _with_more_loss(truth, fault, _bend_losses_db(truth, fault))


def _with_more_loss(truth: RouteTruth, fault: Fault, more_db: Sequence[float]) -> RouteTruth:
    assert fault.site is not None
    before_db = truth.splice_loss_db[:, fault.fibre - 1, fault.site]
    losses_db = (before_db + np.asarray(more_db)).tolist()
    return truth.with_splice_loss(fibre=fault.fibre, site=truth.sites[fault.site], losses_db=losses_db)


def _add_dirt(truth: RouteTruth, fault: Fault) -> RouteTruth:
    end = 0 if fault.site == 0 else 1
    losses, reflectances = truth.pair_loss_db.copy(), truth.pair_reflectance_db.copy()
    losses[:, fault.fibre - 1, end] += fault.size_db
    reflectances[:, fault.fibre - 1, end] += _DIRT_REFLECTS_DB
    return replace(truth, pair_loss_db=losses, pair_reflectance_db=reflectances)


def _reflect_more(truth: RouteTruth, fault: Fault) -> RouteTruth:
    reflectances = truth.pair_reflectance_db.copy()
    reflectances[:, fault.fibre - 1, :] += fault.size_db
    return replace(truth, pair_reflectance_db=reflectances)


def _cross(truth: RouteTruth, fault: Fault) -> RouteTruth:
    """Let two fibres change places in a closure: behind it each goes on as the other."""
    assert fault.site is not None
    assert fault.other is not None
    rows = np.arange(truth.fibre_count)
    pair = [fault.fibre - 1, fault.other - 1]
    rows[pair] = rows[pair[::-1]]
    behind = _with_rows(truth, rows)
    site = fault.site
    lengths_m = np.concatenate([truth.section_lengths_m[:, :site], behind.section_lengths_m[:, site:]], axis=1)
    return replace(
        truth,
        mode_field_um=_joined(truth.mode_field_um, behind.mode_field_um, at=site),
        pigtail_mode_field_um=_joined(truth.pigtail_mode_field_um, behind.pigtail_mode_field_um, at=1),
        section_lengths_m=lengths_m,
        attenuation_db_per_km=_joined(truth.attenuation_db_per_km, behind.attenuation_db_per_km, at=site),
        has_splice=np.concatenate([truth.has_splice[:, : site + 1], behind.has_splice[:, site + 1 :]], axis=1),
        splice_loss_db=_joined(truth.splice_loss_db, behind.splice_loss_db, at=site + 1),
        pair_loss_db=_joined(truth.pair_loss_db, behind.pair_loss_db, at=1),
        pair_reflectance_db=_joined(truth.pair_reflectance_db, behind.pair_reflectance_db, at=1),
    )


def _joined(before: np.ndarray, behind: np.ndarray, *, at: int) -> np.ndarray:
    return np.concatenate([before[:, :, :at], behind[:, :, at:]], axis=2)


def _with_rows(truth: RouteTruth, rows: np.ndarray) -> RouteTruth:
    return replace(
        truth,
        mode_field_um=truth.mode_field_um[:, rows],
        pigtail_mode_field_um=truth.pigtail_mode_field_um[:, rows],
        section_lengths_m=truth.section_lengths_m[rows],
        attenuation_db_per_km=truth.attenuation_db_per_km[:, rows],
        has_splice=truth.has_splice[rows],
        splice_loss_db=truth.splice_loss_db[:, rows],
        pair_loss_db=truth.pair_loss_db[:, rows],
        pair_reflectance_db=truth.pair_reflectance_db[:, rows],
    )


_DRAWS: Mapping[FaultKind, _Draw] = {
    FaultKind.BAD_SPLICE: _draw_bad_splice,
    FaultKind.BEND_IN_CLOSURE: _draw_bend_in_closure,
    FaultKind.BEND_IN_CABLE: _draw_bend_in_cable,
    FaultKind.DIRTY_CONNECTOR: _draw_dirty_connector,
    FaultKind.CROSSED_FIBRES: _draw_crossed,
    FaultKind.BREAK: _draw_break,
    FaultKind.EXPRESS_CUT: _draw_express_cut,
    FaultKind.ECHO: _draw_echo,
    FaultKind.MISSING_EVENT: _draw_missing,
    FaultKind.DELETED_EVENT: _draw_deleted,
    FaultKind.INVERTED_SIGN: _draw_inverted,
    **{kind: _draw_from_neighbour(kind) for kind in PAIRED - {FaultKind.CROSSED_FIBRES}},
}
_CHANGES: Mapping[FaultKind, Callable[[RouteTruth, Fault], RouteTruth]] = {
    FaultKind.BAD_SPLICE: _add_splice_loss,
    FaultKind.DELETED_EVENT: _add_splice_loss,
    FaultKind.INVERTED_SIGN: _add_splice_loss,
    FaultKind.BEND_IN_CLOSURE: _add_bend,
    FaultKind.DIRTY_CONNECTOR: _add_dirt,
    FaultKind.CROSSED_FIBRES: _cross,
    FaultKind.ECHO: _reflect_more,
}
