"""What contracts tell apart, as criteria: line and pigtails, single and ribbon, fibre types, events, ends of the route.

Where a clause names no wavelength the criteria say 1550 nm.
"""

from typing import Any

from tests.published.clauses import AT_1550, Clause, customary


def splice(code: str, limit_db: float, **where: Any) -> dict[str, Any]:
    """Return a limit for the mean of both directions of some splices."""
    return {"code": code, "quantity": "splice_loss", "limit_db": limit_db, **AT_1550, **where}


def reflectance(code: str, limit_db: float, **of: Any) -> dict[str, Any]:
    """Return a limit for what some events send back."""
    return {"code": code, "quantity": "reflectance", "limit_db": limit_db, **AT_1550, **of}


def bend(code: str, limit_db: float, **where: Any) -> dict[str, Any]:
    """Return how much more some places may lose at 1550 nm than at 1310 nm."""
    nm = {"short_wavelength_nm": 1310, "long_wavelength_nm": 1550}
    return {"code": code, "quantity": "bend", "limit_db": limit_db, **nm, **where}


def coefficient(code: str, wavelength_nm: int, limit_db_per_km: float) -> dict[str, Any]:
    """Return a limit for the fibre's own loss in each section."""
    limit = {"over": "section", "wavelength_nm": wavelength_nm, "limit_db_per_km": limit_db_per_km}
    return {"code": code, "quantity": "attenuation_coefficient", **limit}


# A pigtail's splice joins two fibres that were not made for each other, and its limit is twice that in line.
LINE_AND_PIGTAILS = customary(
    "0.10 dB in line and 0.20 dB at pigtails",
    splice("LINE", 0.1, at="line_closures"),
    splice("PIGTAIL", 0.2, at="terminal_splices"),
)
# Fibres of a ribbon are not aligned one by one.
RIBBONS = customary(
    "0.10 dB single and 0.15 dB by ribbon",
    splice("SINGLE", 0.1, splicing="single"),
    splice("RIBBON", 0.15, splicing="ribbon"),
)
# Mode fields that differ lose more whatever the crew does.
FIBRE_TYPES = customary(
    "0.10 dB between fibres of one type and 0.20 dB between two",
    splice("ALIKE", 0.1, joining=["G.652", "G.652"]),
    splice("UNLIKE", 0.2, joining=["G.652", "G.657"]),
)
LINE_MEAN = customary(
    "0.15 dB by both directions or 0.30 dB by one, the mean of a span's line splices",
    {
        "code": "LINE-MEAN", "quantity": "joint_statistic", "joint": "splice", "statistic": "mean", "over": "span",
        "at": "line_closures", "limit_db": 0.15, "tested_from": "either", "one_way_limit_db": 0.3, **AT_1550,
    },
)  # fmt: skip
SPLICE_AND_PAIR = customary(
    "0.2 dB a splice and 0.5 dB a connector pair",
    splice("SPLICE", 0.2, at="line_closures"),
    {"code": "PAIR", "quantity": "connection_loss", "limit_db": 0.5, **AT_1550},
)
POLISHES = customary(
    "reflectance by polish, and of a fusion splice, which shows none",
    *(reflectance(name, db, joint="pair") for name, db in (("PC", -40.0), ("UPC", -50.0), ("APC", -60.0))),
    reflectance("FUSION", -60.0, joint="splice", at="line_closures"),
)
# In a closure a fibre can be laid anew, in the cable nobody reaches it: there less is let pass.
BENDS = customary(
    "bends 0.2 dB in closures and 0.1 dB along the cable, 1550 against 1310 nm",
    bend("CLOSURES", 0.2, at="line_closures"),
    bend("CABLE", 0.1, at="cable"),
    *({"code": f"OTDR-{nm}", "quantity": "required_test", "test": "otdr", "wavelength_nm": nm} for nm in (1310, 1550)),
)
# A section that nobody digs up again, under water or a road, has a limit of its own.
CROSSING = customary(
    "no loss above 0.05 dB in a section that cannot be reached again, 0.1 dB elsewhere",
    {"code": "CROSSING", "quantity": "stray_loss", "at": ["S2"], "limit_db": 0.05, **AT_1550},
    {"code": "ELSEWHERE", "quantity": "stray_loss", "at": ["S1", "S3"], "limit_db": 0.1, **AT_1550},
)
EQUIPMENT_2G5 = Clause(
    criteria=(
        {"code": "PLANT", "quantity": "return_loss", "limit_db": 24.0, **AT_1550},
        reflectance("DISCRETE", -27.0),
    ),
    source="ITU-T G.957, 2.5 Gbit/s: return loss of the plant, discrete reflectance between S and R",
    mark="from memory", tolerance=0,
)  # fmt: skip
PASSIVE_ACCESS = Clause(
    criteria=({"code": "ODN", "quantity": "return_loss", "limit_db": 32.0, "tested_from": "a", **AT_1550},),
    source="ITU-T G.984.2, return loss of the distribution network seen from the exchange", mark="from memory",
    tolerance=0,
)  # fmt: skip
CABLED_FIBRE = Clause(
    criteria=(coefficient("AT-1310", 1310, 0.4), coefficient("AT-1550", 1550, 0.3), coefficient("AT-1625", 1625, 0.4)),
    source="ITU-T G.657, category A, cable attributes: attenuation coefficient 1310 to 1625 nm and 1530 to 1565 nm",
    mark="seen", tolerance=0,
)  # fmt: skip
LOOSE_TUBE = customary(
    "purchase specifications of loose tube cable",
    *(coefficient(f"AT-{nm}", nm, limit) for nm, limit in ((1310, 0.35), (1550, 0.22), (1625, 0.25))),
)
DISCONTINUITY = customary(
    "no point discontinuity above 0.1 dB", {"code": "POINT", "quantity": "stray_loss", "limit_db": 0.1, **AT_1550}
)
