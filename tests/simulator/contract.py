"""The demo project's parties, people and agreed criteria: all invented."""

from typing import Any


def demo_project() -> dict[str, Any]:
    """Return the project as its administrator sets it up."""
    return {
        "code": "OCN-2026-7",
        "name": "Oldenmere ring, lot 7",
        "owner": "Oldenmere County Networks",
        "contractor": "Larkfen Cable Works",
    }


def demo_people() -> dict[str, dict[str, str]]:
    """Return the person behind each opaque id."""
    return {
        "p-3k7": {"name": "Ilse Marrowby", "role": "splicer"},
        "p-5t2": {"name": "Tobin Vance-Hollis", "role": "splicer, works end B in tests"},
        "p-8d4": {"name": "Nadja Fenwrick", "role": "tester"},
        "p-1c9": {"name": "Corin Haldersby", "role": "works manager"},
        "p-9e6": {"name": "Petra Lindqvale", "role": "acceptance engineer"},
    }


def demo_criteria() -> dict[str, Any]:
    """Return the criteria as agreed before measuring."""
    return {
        "title": "Lot 7, acceptance of fibre routes",
        "document": "Oldenmere County Networks, Conditions for Fibre Works, issue 3",
        "final_after_sealing": True,
        "rework_voids": "fibre",
        "placing": {"tolerance_m": 10.0, "tolerance_percent": 0.2, "scale_percent": 3.0},
        "criteria": [
            {
                "code": "otdr-1310",
                "clause": "7.1.1",
                "quantity": "required_test",
                "test": "otdr",
                "wavelength_nm": 1310,
            },
            {
                "code": "otdr-1550",
                "clause": "7.1.1",
                "quantity": "required_test",
                "test": "otdr",
                "wavelength_nm": 1550,
            },
            _required_power("power-1310", wavelength_nm=1310),
            _required_power("power-1550", wavelength_nm=1550),
            {
                "code": "splice-1310",
                "clause": "7.2.1",
                "quantity": "splice_loss",
                "wavelength_nm": 1310,
                "limit_db": 0.15,
            },
            {
                "code": "splice-1550",
                "clause": "7.2.1",
                "quantity": "splice_loss",
                "wavelength_nm": 1550,
                "limit_db": 0.15,
                "estimate_action_limit_db": 0.08,
            },
            _termination("termination-1310", wavelength_nm=1310),
            _termination("termination-1550", wavelength_nm=1550),
            _link(
                "link-1310",
                wavelength_nm=1310,
                limit={"kind": "fixed", "limit_db": 7.5},
                least_attenuation_db_per_km=0.28,
            ),
            _link(
                "link-1550",
                wavelength_nm=1550,
                limit={"kind": "budget", "attenuation_db_per_km": 0.22, "splice_db": 0.15, "connection_db": 0.5},
                least_attenuation_db_per_km=0.16,
            ),
        ],
    }


def _required_power(code: str, *, wavelength_nm: int) -> dict[str, Any]:
    return {
        "code": code,
        "clause": "7.1.2",
        "quantity": "required_test",
        "test": "attenuation",
        "wavelength_nm": wavelength_nm,
    }


def _termination(code: str, *, wavelength_nm: int) -> dict[str, Any]:
    return {
        "code": code,
        "clause": "7.2.3",
        "quantity": "termination_loss",
        "wavelength_nm": wavelength_nm,
        "limit_db": 0.5,
    }


def _link(
    code: str, *, wavelength_nm: int, limit: dict[str, Any], least_attenuation_db_per_km: float
) -> dict[str, Any]:
    return {
        "code": code,
        "clause": "7.3",
        "quantity": "link_attenuation",
        "wavelength_nm": wavelength_nm,
        "combination": "mean",
        "limit": limit,
        "reference_cords": 1,
        "least_attenuation_db_per_km": least_attenuation_db_per_km,
        "uncertainty_db": 0.2,
    }
