"""What contracts tell apart, as criteria: line and pigtails, single and ribbon, fibre types, events, ends of the route.

Where a clause names no wavelength the criteria say 1550 nm.
"""

from typing import Any

from tests.published.splice_rules import AT_1550, Clause

_CUSTOMARY: dict[str, Any] = {"mark": "customary", "tolerance": 0}
_NO_SOURCE = "common practice, no source"


def splice(code: str, limit_db: float, **where: Any) -> dict[str, Any]:
    """Return a limit for the mean of both directions of some splices."""
    return {"code": code, "quantity": "splice_loss", "limit_db": limit_db, **AT_1550, **where}


def reflectance(code: str, limit_db: float, **of: Any) -> dict[str, Any]:
    """Return a limit for what some events send back."""
    return {"code": code, "quantity": "reflectance", "limit_db": limit_db, **AT_1550, **of}


def coefficient(code: str, wavelength_nm: int, limit_db_per_km: float) -> dict[str, Any]:
    """Return a limit for the fibre's own loss in each section."""
    limit = {"over": "section", "wavelength_nm": wavelength_nm, "limit_db_per_km": limit_db_per_km}
    return {"code": code, "quantity": "attenuation_coefficient", **limit}


LINE_AND_PIGTAILS = Clause(
    # A pigtail's splice joins two fibres that were not made for each other, and its limit is twice that in line.
    criteria=(splice("LINE", 0.1, at="line_closures"), splice("PIGTAIL", 0.2, at="terminal_splices")),
    source=f"{_NO_SOURCE}: 0.10 dB in line and 0.20 dB at pigtails", **_CUSTOMARY,
)  # fmt: skip
RIBBONS = Clause(
    # Fibres of a ribbon are not aligned one by one.
    criteria=(splice("SINGLE", 0.1, splicing="single"), splice("RIBBON", 0.15, splicing="ribbon")),
    source=f"{_NO_SOURCE}: 0.10 dB single and 0.15 dB by ribbon", **_CUSTOMARY,
)  # fmt: skip
FIBRE_TYPES = Clause(
    # Mode fields that differ lose more whatever the crew does.
    criteria=(
        splice("ALIKE", 0.1, joining=["G.652", "G.652"]),
        splice("UNLIKE", 0.2, joining=["G.652", "G.657"]),
    ),
    source=f"{_NO_SOURCE}: 0.10 dB between fibres of one type and 0.20 dB between two", **_CUSTOMARY,
)  # fmt: skip
LINE_MEAN = Clause(
    criteria=(
        {
            "code": "LINE-MEAN", "quantity": "joint_statistic", "joint": "splice", "statistic": "mean", "over": "span",
            "at": "line_closures", "limit_db": 0.15, "tested_from": "either", "one_way_limit_db": 0.3, **AT_1550,
        },
    ),
    source=f"{_NO_SOURCE}: 0.15 dB by both directions or 0.30 dB by one, the mean of a span's line splices",
    **_CUSTOMARY,
)  # fmt: skip
SPLICE_AND_PAIR = Clause(
    criteria=(
        splice("SPLICE", 0.2, at="line_closures"),
        {"code": "PAIR", "quantity": "connection_loss", "limit_db": 0.5, **AT_1550},
    ),
    source=f"{_NO_SOURCE}: 0.2 dB a splice and 0.5 dB a connector pair", **_CUSTOMARY,
)  # fmt: skip
POLISHES = Clause(
    criteria=(
        *(reflectance(name, db, joint="pair") for name, db in (("PC", -40.0), ("UPC", -50.0), ("APC", -60.0))),
        reflectance("FUSION", -60.0, joint="splice", at="line_closures"),
    ),
    source=f"{_NO_SOURCE}: reflectance by polish, and of a fusion splice, which shows none", **_CUSTOMARY,
)  # fmt: skip
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
LOOSE_TUBE = Clause(
    criteria=tuple(coefficient(f"AT-{nm}", nm, limit) for nm, limit in ((1310, 0.35), (1550, 0.22), (1625, 0.25))),
    source=f"{_NO_SOURCE}: purchase specifications of loose tube cable", **_CUSTOMARY,
)  # fmt: skip
DISCONTINUITY = Clause(
    criteria=({"code": "POINT", "quantity": "stray_loss", "limit_db": 0.1, **AT_1550},),
    source=f"{_NO_SOURCE}: no point discontinuity above 0.1 dB", **_CUSTOMARY,
)  # fmt: skip

CONTRACT_CLAUSES = (
    LINE_AND_PIGTAILS,
    RIBBONS,
    FIBRE_TYPES,
    LINE_MEAN,
    SPLICE_AND_PAIR,
    POLISHES,
    EQUIPMENT_2G5,
    PASSIVE_ACCESS,
    CABLED_FIBRE,
    LOOSE_TUBE,
    DISCONTINUITY,
)
