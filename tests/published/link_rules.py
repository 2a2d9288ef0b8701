"""Rules of public documents about links, spans and end faces as criteria, each as its clause stands.

Where a clause names no wavelength the criteria say 1550 nm. What no document at hand says, and contracts ask for all
the same, is common practice, and says so.
"""

from tests.published.clauses import AT_1310, AT_1550, Clause, customary

BETWEEN_LOCATIONS = Clause(
    # Traces from both ends of a section between adjacent locations, at 1310 and 1550 nm; power both ways at both.
    criteria=tuple(
        {"code": f"{test}-{at['wavelength_nm']}", "quantity": "required_test", "test": test, "over": "span", **at}
        for test in ("otdr", "attenuation")
        for at in (AT_1310, AT_1550)
    ),
    source="City of Ramsey, council agenda of 2015-02-10, exhibit E, 3 and 4.a (document 243017, page 138)",
    mark="seen", tolerance=0,
)  # fmt: skip

BETWEEN_PANELS = Clause(
    # A link lies between two panels; single-mode at most 0.6 dB a mated connection and 0.4 dB/km at 1550 nm, with the
    # connections at both panels. It allows nothing for splices.
    criteria=(
        {
            "code": "LINK", "quantity": "link_attenuation", "over": "span", "combination": "worse", **AT_1550,
            "reference_cords": 1,
            "limit": {
                "kind": "budget", "attenuation_db_per_km": 0.4, "splice_db": 0.0, "connection_db": 0.6, "other_db": 0.0,
            },
        },
    ),
    source="Specification 1224_01, Technology Upgrade Testing, section 28 7700, page 3, 6.a, 6.c and 8",
    mark="seen", tolerance=0,
)  # fmt: skip

ACCEPTED_BY_TRACES = Clause(
    # Traces of both directions are what fibres are finally accepted by; their limit for a link is the contract's own,
    # here the greatest that 3 km at 0.25 dB/km with 2 splices of 0.1 dB and two connections of 0.5 dB come to.
    criteria=(
        {
            "code": "LINK", "quantity": "link_attenuation", "basis": "otdr", "combination": "mean", **AT_1550,
            "limit": {"kind": "fixed", "limit_db": 1.95},
        },
    ),
    source="Exhibit C, Fiber Cable Splicing, Testing, and Acceptance Standards, 1 (Scribd document 251377301)",
    mark="seen", tolerance=0,
)  # fmt: skip

TWO_TYPES = Clause(
    # The most that cabled fibre of each type may have at 1550 nm: 0.30 dB/km for G.652.D and 0.35 dB/km for G.655.
    criteria=(
        {
            "code": "LINK", "quantity": "link_attenuation", "combination": "mean", **AT_1550,
            "limit": {
                "kind": "budget", "splice_db": 0.1, "connection_db": 0.5, "other_db": 0.0,
                "by_fibre_type": (
                    {"fibre_type": "G.652.D", "attenuation_db_per_km": 0.3},
                    {"fibre_type": "G.655", "attenuation_db_per_km": 0.35},
                ),
            },
        },
    ),
    source="ITU-T G.652 (2016), table 2, and ITU-T G.655 (2009), table 1", mark="from memory", tolerance=0,
)  # fmt: skip

# The reference is taken anew each shift of eight hours.
SAME_SHIFT = customary(
    "source and meter referenced anew each shift",
    {"code": "REFERENCE", "quantity": "reference_age", "limit_h": 8.0, **AT_1550},
)
# An instrument's pass by the edition that it knows, with the image handed over.
BY_INSTRUMENT = customary(
    "end faces passed by the instrument, images handed over",
    {"code": "FACES", "quantity": "end_face", "edition": 2015, "accepts": "instrument"},
)
# Laying adds no more than 0.05 dB/km to what the reel test says.
AGAINST_REEL = customary(
    "installed cable held against its reel test",
    {"code": "REEL", "quantity": "reel_difference", "limit_db_per_km": 0.05, **AT_1550},
)
# Of a short link nobody goes to the far end: 3 km, 1.95 dB as above, by traces from the one or the other.
FROM_ONE_END = customary(
    "a short link accepted by traces from one end",
    {
        "code": "LINK", "quantity": "link_attenuation", "basis": "otdr", "tested_from": "either", **AT_1550,
        "limit": {"kind": "fixed", "limit_db": 1.95},
    },
)  # fmt: skip
