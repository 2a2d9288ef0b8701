"""The criterion about how traces were taken: pulse, averaging, threshold, range, and what their records state."""

from collections.abc import Iterator

from service.vocabulary.criteria.trace_settings import Statement, TraceSettingsCriterion
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.words import Outcome
from service.vocabulary.quantities import decimal_text, metres_text, to_last_place, to_um
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import DirectionTest, known_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import limit_mdb, mdb_text
from worker.judgement.rules.base import Rule, length_over_um
from worker.judgement.words import DIRECTION_LABELS, at_wavelength

_US_PER_TENTH_S = 100_000
_STATEMENT_LABELS = {
    Statement.GROUP_INDEX: "group index",
    Statement.DYNAMIC_RANGE: "dynamic range",
    Statement.LAUNCH_CORD: "launch cord",
    Statement.RECEIVE_CORD: "receive cord",
}


class TraceSettingsRule(Rule[TraceSettingsCriterion]):
    """Between each two sites that traces were taken between, one that counts keeps all that is asked for.

    Normal work takes several pulses: a long one beside a short one that keeps the bound breaks nothing.
    """

    def __init__(self, criterion: TraceSettingsCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self._pulses = [(to_um(one.up_to_m), one.most_ns) for one in criterion.pulses]
        self._ranges_percent = [
            None if ratio is None else to_last_place(ratio, places=2)
            for ratio in (criterion.least_range_ratio, criterion.most_range_ratio)
        ]

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each direction asked for, of a fibre that runs through, as far as it is joined."""
        asked = self.criterion
        for span in self.stretches(fibre):
            for way in tests_from(
                fibre, asked.tested_from, test="otdr", wavelength_nm=asked.wavelength_nm, between=span
            ):
                found = self.span_finding(fibre, span, self._judge(fibre, way))
                yield found if way.is_forward else found._replace(from_site=found.to_site, to_site=found.from_site)

    def _judge(self, fibre: FibreMeasured, found: DirectionTest) -> Judgement:
        """Hold the traces of one direction against what was agreed; without any that count nothing is known."""
        known = known_of(found)
        if known.reason is not None:
            return known
        best: dict[tuple[int, int], tuple[Trace, list[str]]] = {}
        for trace in found.measurements:
            assert isinstance(trace, Trace)
            breaches = list(self._breaches(fibre, trace))
            before = best.get(trace.span)
            if before is None or len(breaches) < len(before[1]):
                best[trace.span] = trace, breaches
        way = f"{DIRECTION_LABELS[found.is_forward]}{at_wavelength(found.wavelength_nm)}"
        in_order = [best[span] for span in sorted(best)]
        broken = [(trace, breaches) for trace, breaches in in_order if breaches]
        if broken:
            detail = "; ".join(f"{self._between(fibre, trace)}{', '.join(breaches)}" for trace, breaches in broken)
            return known._replace(outcome=Outcome.NONCONFORMING, detail=f"{way}: {detail}")
        detail = "; ".join(f"{self._between(fibre, trace)}{_settings_text(trace)}" for trace, _ in in_order)
        return known._replace(outcome=Outcome.CONFORMING, detail=f"{way}: {detail}")

    def _between(self, fibre: FibreMeasured, trace: Trace) -> str:
        if trace.span == (0, fibre.prepared.last_index):
            return ""
        near, far = (fibre.layout.design.sites[index].id for index in trace.ends)
        return f"from {near} to {far} "

    def _breaches(self, fibre: FibreMeasured, trace: Trace) -> Iterator[str]:
        """Say what of a trace is not as agreed."""
        asked, length_um = self.criterion, length_over_um(fibre, Span(first=trace.low_index, last=trace.high_index))
        most_ns = next((most for up_to_um, most in self._pulses if length_um <= up_to_um), None)
        if most_ns is not None and trace.pulse_ns > most_ns:
            yield f"pulse {trace.pulse_ns} ns, more than {most_ns} ns for {metres_text(length_um)} m of fibre"
        averaged = trace.outline.averaging_us // _US_PER_TENTH_S
        if asked.least_averaging_s is not None and averaged < to_last_place(asked.least_averaging_s, places=1):
            yield f"averaged {decimal_text(averaged, places=1)} s, less than {asked.least_averaging_s:.1f} s"
        most_db = asked.most_loss_threshold_db
        if most_db is not None and trace.threshold_mdb > limit_mdb(most_db):
            yield f"loss threshold {mdb_text(trace.threshold_mdb)} dB, more than {most_db:.3f} dB"
        yield from self._range_breaches(trace, length_um)
        for statement in asked.states:
            if not _is_stated(trace, statement):
                yield f"no {_STATEMENT_LABELS[statement]} stated"

    def _range_breaches(self, trace: Trace, length_um: int) -> Iterator[str]:
        """Say whether the range is too short or too long for what the trace has to show: fibre and cords."""
        shown_um = length_um + sum(cord.length_um for cord in (trace.launch, trace.receive) if cord is not None)
        least, most = self._ranges_percent
        said = f"range {metres_text(trace.range_um)} m"
        if least is not None and trace.range_um * 100 < least * shown_um:
            yield f"{said}, less than {decimal_text(least, places=2)} times the {metres_text(shown_um)} m to be shown"
        if most is not None and trace.range_um * 100 > most * shown_um:
            yield f"{said}, more than {decimal_text(most, places=2)} times the {metres_text(shown_um)} m to be shown"


def _is_stated(trace: Trace, statement: Statement) -> bool:
    stated = {
        Statement.GROUP_INDEX: trace.group_index_e5,
        Statement.DYNAMIC_RANGE: trace.dynamic_range,
        Statement.LAUNCH_CORD: trace.launch,
        Statement.RECEIVE_CORD: trace.receive,
    }
    return stated[statement] is not None


def _settings_text(trace: Trace) -> str:
    averaged = decimal_text(trace.outline.averaging_us // _US_PER_TENTH_S, places=1)
    threshold, range_m = mdb_text(trace.threshold_mdb), metres_text(trace.range_um)
    return f"pulse {trace.pulse_ns} ns, averaged {averaged} s, loss threshold {threshold} dB, range {range_m} m"
