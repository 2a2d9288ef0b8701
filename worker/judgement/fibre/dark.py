"""Whether a fibre is dark: light put in at one end is not seen at the other."""

from worker.judgement.fibre.end_to_end import both_ways
from worker.judgement.fibre.fibre_under_test import FibreUnderTest
from worker.judgement.history.acts import Continuity


def is_dark(fibre: FibreUnderTest) -> bool:
    """Tell whether every test of a fibre's continuity that counts saw no light, and there is one."""
    tests = [
        one
        for way in both_ways(fibre, test="continuity", wavelength_nm=None)
        for one in way.measurements
        if isinstance(one, Continuity)
    ]
    return bool(tests) and all(one.seen_fibre is None for one in tests)
