"""Draw the instruments of a route: indices, pulses, how far they see and what they part."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.simulator.crew import Hand
from tests.simulator.draws import Floats, draw_between, rounded
from tests.simulator.geometry import PLAIN, Geometry, StatedIndex
from tests.simulator.instrument import Otdr
from tests.simulator.listing import M_PER_NS_OF_PULSE
from tests.simulator.rounds import Gear, make_gear
from tests.simulator.truth import RouteTruth

_MOST_INDEX_ERROR = 0.005
_PULSES_NS = (30, 100, 300, 1000, 3000)
# At 10 us and 3 minutes, common practice.
_DYNAMIC_RANGE_DB = (38.0, 44.0)
_AVERAGING_S = 30.0
_SAMPLES = 250_000
_HAND_AT_A = Hand(operator="p-3k7", device="tablet-31")
_HAND_AT_B = Hand(operator="p-5t2", device="tablet-32")


def draw_gear(source: np.random.Generator, truth: RouteTruth, geometry: Geometry) -> tuple[tuple[int, ...], Gear]:
    """Draw the pulses that each fibre is shot with, the shortest first, and the instruments' settings.

    Both ends were told the same index, wrong by the same, or two that are far apart.
    """
    if geometry is PLAIN:
        pulses_ns = geometry.pulses_ns[source.integers(len(geometry.pulses_ns))]
    gear = make_gear(
        hand_at_a=_HAND_AT_A, hand_at_b=_HAND_AT_B, loss_threshold_db=0.02, pulse_ns=100, range_m=160_000.0
    )
    error = draw_between(source, (), low=-_MOST_INDEX_ERROR, high=_MOST_INDEX_ERROR)
    otdrs = [gear.otdr_at_a, gear.otdr_at_b]
    if geometry is PLAIN:
        otdrs = [replace(one, group_index=_by_wavelength(truth, truth.group_index + error)) for one in otdrs]
    else:
        otdrs = _rough(source, truth, geometry, otdrs, error=float(error))
        pulses_ns = _draw_pulses(source, truth, geometry, otdrs)
    return pulses_ns, replace(gear, otdr_at_a=otdrs[0], otdr_at_b=otdrs[1])


def with_pulse(otdr: Otdr, pulse_ns: int) -> Otdr:
    """Return an instrument set to a pulse: the longer it is, the less certain where a loss begins."""
    if otdr.dynamic_range_db is None:
        return replace(otdr, pulse_ns=pulse_ns)
    # A twentieth of the pulse and half the distance between two samples, common practice.
    edge_m = 0.3 + otdr.range_m / _SAMPLES / 2
    noise_m = edge_m + 0.05 * pulse_ns * M_PER_NS_OF_PULSE
    return replace(otdr, pulse_ns=pulse_ns, position_noise_m=noise_m, edge_noise_m=edge_m)


def _rough(
    source: np.random.Generator, truth: RouteTruth, geometry: Geometry, otdrs: Sequence[Otdr], *, error: float
) -> list[Otdr]:
    ranges_db = rounded(draw_between(source, (2,), low=_DYNAMIC_RANGE_DB[0], high=_DYNAMIC_RANGE_DB[1]), 1)
    merge_pulses = draw_between(source, (2,), low=geometry.merge_pulses[0], high=geometry.merge_pulses[1])
    apart = [1 - geometry.index_apart / 2, 1 + geometry.index_apart / 2]
    if source.random() < 0.5:
        apart.reverse()
    told = _by_wavelength(truth, truth.group_index + error)
    rough: list[Otdr] = []
    for one, range_db, merge, ratio in zip(otdrs, ranges_db.tolist(), merge_pulses.tolist(), apart, strict=True):
        used = _by_wavelength(truth, (truth.group_index + error) * ratio)
        # An OTDR sees a little less far at the longer wavelength, common practice.
        longer_db = {nm: range_db - number for number, nm in enumerate(truth.wavelengths_nm)}
        rough.append(
            replace(
                one,
                group_index=used,
                stated_index={StatedIndex.USED: used, StatedIndex.TOLD: told}.get(geometry.stated_index, {}),
                merge_pulses=merge,
                dynamic_range_db=longer_db,
                averaging_s=_AVERAGING_S,
            )
        )
    return rough


def _by_wavelength(truth: RouteTruth, indices: Floats) -> dict[int, float]:
    return dict(zip(truth.wavelengths_nm, rounded(indices, 5).tolist(), strict=True))


def _draw_pulses(
    source: np.random.Generator, truth: RouteTruth, geometry: Geometry, otdrs: Sequence[Otdr]
) -> tuple[int, ...]:
    """Draw pulses of the family; of one without, the shortest that still sees the far end through its noise."""
    need_db = float(truth.link_loss_db.max()) + float(
        draw_between(source, (), low=geometry.margin_db[0], high=geometry.margin_db[1])
    )
    nm = truth.wavelengths_nm[0]
    enough = [ns for ns in _PULSES_NS if all(_range_db(one, nm, ns) >= need_db for one in otdrs)] or [_PULSES_NS[-1]]
    if not geometry.pulses_ns:
        return (enough[0],)
    drawn = geometry.pulses_ns[source.integers(len(geometry.pulses_ns))]
    # A pulse too weak for the route would be shot by nobody; the longest of a set is what sees the far end.
    return tuple(sorted({*drawn[:-1], max(drawn[-1], enough[0])} if len(drawn) > 1 else {max(drawn[0], enough[0])}))


def _range_db(otdr: Otdr, wavelength_nm: int, pulse_ns: int) -> float:
    return replace(otdr, pulse_ns=pulse_ns).range_db(wavelength_nm) or 0.0
