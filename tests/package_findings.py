"""Findings as the judge writes them, made by hand for packages."""

from collections.abc import Iterator
from uuid import UUID

from service.vocabulary.findings.finding import FIBRE_FORM, FibreDocument, FindingDocument, ReadingDocument

WAVELENGTHS_NM = (1310, 1550)


def make_fibre(fibre: int, *, closure_count: int) -> FibreDocument:
    """Return a fibre's document: joints at each closure, both ends, the link, and a missing test on fibre 2."""
    findings = [
        make_joint_finding(fibre, site=f"C{number:02d}", wavelength_nm=nm, step=fibre * 7 + number * 3 + nm)
        for number in range(1, closure_count + 1)
        for nm in WAVELENGTHS_NM
    ]
    ends = [("T-A", "SEG-1"), ("T-B", "SEG-2")]
    findings += [_termination_finding(fibre, site=site, segment=segment) for site, segment in ends]
    findings += [_link_finding(fibre), *_missing_test(fibre)]
    return {"form": FIBRE_FORM, "fibre": fibre, "findings": findings, "work": [], "unexpected_events": []}


def make_joint_finding(fibre: int, *, site: str, wavelength_nm: int, step: int) -> FindingDocument:
    """Return a joint's finding; every thirteenth is over its limit, every seventh known only within bounds."""
    forward_mdb, backward_mdb = 20 + step % 71, (10 if step % 13 else 130) - step % 31
    total_mdb = forward_mdb + backward_mdb
    conforms = total_mdb <= 200
    finding: FindingDocument = {
        "criterion": f"SPL-{wavelength_nm}",
        "quantity": "splice_loss",
        "force": "required",
        "fibre": fibre,
        "segments": ["SEG-1" if site <= "C01" else "SEG-2"],
        "outcome": "conforming" if conforms else "nonconforming",
        "detail": "mean of both directions" if conforms else "mean of both directions over the limit",
        "site": site,
        "position": 1,
        "wavelength_nm": wavelength_nm,
        "unit": "dB",
        "limit": "0.100",
        "margin": f"{(200 - total_mdb) / 2000:.4f}",
        "readings": [_reading("a_to_b", value=f"{forward_mdb / 1000:.3f}")],
        "void": [],
    }
    if conforms and step % 7 == 0:
        finding["readings"].append(_reading("b_to_a", within="0.020"))
        low, high = (forward_mdb - 20) / 2000, (forward_mdb + 20) / 2000
        return {**finding, "low": f"{low:.4f}", "high": f"{high:.4f}", "margin": f"{0.1 - high:.4f}"}
    finding["readings"].append(_reading("b_to_a", value=f"{backward_mdb / 1000:.3f}"))
    return {**finding, "value": f"{total_mdb / 2000:.4f}"}


def _reading(direction: str, **values: str) -> ReadingDocument:
    reading: ReadingDocument = {"record": str(UUID(int=101)), "direction": direction}
    return {**reading, **values}  # type: ignore[typeddict-item]


def _termination_finding(fibre: int, *, site: str, segment: str) -> FindingDocument:
    return {
        "criterion": "TRM-1550",
        "quantity": "termination_loss",
        "force": "required",
        "fibre": fibre,
        "segments": [segment],
        "outcome": "conforming",
        "detail": "mean of both directions",
        "site": site,
        "position": 1,
        "wavelength_nm": 1550,
        "value": "0.3210",
        "unit": "dB",
        "limit": "0.600",
        "margin": "0.2790",
        "readings": [_reading("a_to_b", value="0.300"), _reading("b_to_a", value="0.342")],
        "void": [],
    }


def _link_finding(fibre: int) -> FindingDocument:
    return {
        "criterion": "LNK-1550",
        "quantity": "link_attenuation",
        "force": "required",
        "fibre": fibre,
        "segments": ["SEG-1", "SEG-2"],
        "outcome": "conforming",
        "detail": "mean of both directions within the budget",
        "from_site": "T-A",
        "to_site": "T-B",
        "wavelength_nm": 1550,
        "value": "2.2150",
        "unit": "dB",
        "limit": "2.9455",
        "margin": "0.7305",
        "readings": [_reading("a_to_b", value="2.200"), _reading("b_to_a", value="2.230")],
        "void": [],
    }


def _missing_test(fibre: int) -> Iterator[FindingDocument]:
    if fibre == 2:
        yield {
            "criterion": "TST-1310",
            "quantity": "required_test",
            "force": "required",
            "fibre": fibre,
            "segments": ["SEG-1", "SEG-2"],
            "outcome": "undetermined",
            "reason": "one_direction_only",
            "detail": "no trace from T-B at 1310 nm",
            "from_site": "T-A",
            "to_site": "T-B",
            "wavelength_nm": 1310,
            "readings": [],
            "void": [],
        }
