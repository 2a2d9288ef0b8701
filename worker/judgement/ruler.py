"""Where the design's fibre lies on a trace: behind the launch cord, and longer or shorter by its scale."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.vocabulary.criteria import Placing
from service.vocabulary.quantities import to_last_place
from worker.judgement.exact import UM_PER_CM
from worker.judgement.history import Trace


@dataclass(frozen=True, kw_only=True, slots=True)
class Ruler:
    """The start of the span on the trace, its designed and its measured length, and how far the trace reaches."""

    start_um: int
    span_um: int
    measured_um: int
    reach_um: int
    tolerance_um: int
    is_full: bool
    is_too_long: bool

    @property
    def end_um(self) -> int:
        """Where the span ends on the trace."""
        return self.start_um + self.measured_um

    def on_trace_um(self, along_um: int) -> int:
        """Return where on the trace a spot of the design should be."""
        return self.start_um + (along_um * self.measured_um // self.span_um if self.span_um else 0)

    def along_um(self, on_trace_um: int) -> int:
        """Return where in the design a spot of the trace should be."""
        return (on_trace_um - self.start_um) * self.span_um // self.measured_um if self.measured_um else 0

    def reaches(self, on_trace_um: int) -> bool:
        """Tell whether a spot without an event lies safely before the trace's end."""
        return self.is_full or on_trace_um < self.reach_um - self.tolerance_um


def measure(trace: Trace, events_um: Sequence[int], ends_um: Sequence[int], *, span_um: int, placing: Placing) -> Ruler:
    """Lay the design's span on a trace by its far end; both sequences ascend."""
    percent_um = span_um * to_last_place(placing.tolerance_percent, places=2) // 10_000
    tolerance_um = max(to_last_place(placing.tolerance_m, places=2) * UM_PER_CM, percent_um)
    bound_um = max(tolerance_um, span_um * to_last_place(placing.scale_percent, places=2) // 10_000)
    start_um = trace.launch.length_um if trace.launch else 0
    far_um = _far_end_um(trace, events_um, ends_um, tolerance_um=tolerance_um)
    # Without an end nothing is known of the length; the design's own then stands, and so it does out of bounds, where
    # it is no scale at all but a break, a short range or another fibre.
    longer_um = None if far_um is None else far_um - start_um - span_um
    is_full = longer_um is not None and abs(longer_um) <= bound_um
    return Ruler(
        start_um=start_um,
        span_um=span_um,
        measured_um=span_um + longer_um if is_full and longer_um is not None else span_um,
        reach_um=max(ends_um or events_um, default=0),
        tolerance_um=tolerance_um,
        is_full=is_full,
        is_too_long=longer_um is not None and longer_um > bound_um,
    )


def _far_end_um(trace: Trace, events_um: Sequence[int], ends_um: Sequence[int], *, tolerance_um: int) -> int | None:
    """Return where the span ends on the trace: before the receive cord, if there is one."""
    if not ends_um:
        return None
    if trace.receive is None:
        return ends_um[-1]
    # The connection before the receive cord is seen itself where it can be: a cord's length is only nominal.
    far_um = ends_um[-1] - trace.receive.length_um
    near = [at_um for at_um in events_um if abs(at_um - far_um) <= tolerance_um]
    return min(near, key=lambda at_um: abs(at_um - far_um), default=far_um)
