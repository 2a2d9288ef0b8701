"""The demo project's parties, people and agreed criteria: all invented."""

from typing import Any

from tests.bodies import Body
from tests.bodies.criteria import link_criterion, make_criteria, required_test_criterion, termination_criterion

_WAVELENGTHS_NM = (1310, 1550)


def demo_project() -> Body:
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


def demo_criteria() -> Body:
    """Return the criteria as agreed before measuring."""
    splice = {"quantity": "splice_loss", "limit_db": 0.15, "clause": "7.2.1"}
    return make_criteria(
        title="Lot 7, acceptance of fibre routes",
        document="Oldenmere County Networks, Conditions for Fibre Works, issue 3",
        final_after_sealing=True,
        rework_voids="fibre",
        placing={"tolerance_m": 10.0, "tolerance_percent": 0.2, "scale_percent": 3.0},
        criteria=[
            *(required_test_criterion(code=f"otdr-{nm}", clause="7.1.1", wavelength_nm=nm) for nm in _WAVELENGTHS_NM),
            *(
                required_test_criterion(code=f"power-{nm}", clause="7.1.2", test="attenuation", wavelength_nm=nm)
                for nm in _WAVELENGTHS_NM
            ),
            {"code": "recorded", "quantity": "required_record", "joint": "splice", "clause": "7.1.3"},
            {**splice, "code": "splice-1310", "wavelength_nm": 1310},
            {**splice, "code": "splice-1550", "wavelength_nm": 1550, "estimate_action_limit_db": 0.08},
            *(
                termination_criterion(code=f"termination-{nm}", clause="7.2.3", wavelength_nm=nm)
                for nm in _WAVELENGTHS_NM
            ),
            _link(1310, limit={"kind": "fixed", "limit_db": 7.5}, least_attenuation_db_per_km=0.28),
            _link(
                1550,
                limit={"kind": "budget", "attenuation_db_per_km": 0.22, "splice_db": 0.15, "connection_db": 0.5},
                least_attenuation_db_per_km=0.16,
            ),
        ],
    )


def _link(wavelength_nm: int, **changes: Any) -> Body:
    own = {"clause": "7.3", "wavelength_nm": wavelength_nm, "reference_cords": 1, "uncertainty_db": 0.2}
    return link_criterion(code=f"link-{wavelength_nm}", **own, **changes)
