"""What comparing a package's pages takes a receiver: nothing else is imported here, so the process holds no more."""

import time
from pathlib import Path

from worker.commands.page_comparison import Pages, compare_pages


def compare(signed: bytes) -> tuple[float, float]:
    """Compare pages once, and return the seconds it took and the most memory in MB."""
    began = time.perf_counter()
    found = compare_pages(signed)
    comparison_s = time.perf_counter() - began
    assert found.pages is Pages.AS_DRAWN, found.problems
    return comparison_s, highest_resident_mb()


def highest_resident_mb() -> float:
    """Return the most memory that this process has held."""
    # The kernel's own high-water mark of this address space; getrusage would carry over that of the parent.
    [line] = [one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM:")]
    return int(line.split()[1]) / 1024
