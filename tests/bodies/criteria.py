"""Criteria as the engineer proposes them: one function for each quantity that many tests ask for."""

from typing import Any

from tests.bodies import Body


def splice_criterion(**changes: Any) -> Body:
    """Return a limit of 0.10 dB per splice at 1550 nm, with action limits."""
    return {
        "code": "SPLICE-1550",
        "quantity": "splice_loss",
        "wavelength_nm": 1550,
        "limit_db": 0.1,
        "estimate_action_limit_db": 0.05,
        "one_way_action_limit_db": 0.3,
        **changes,
    }


def termination_criterion(**changes: Any) -> Body:
    """Return a limit of 0.50 dB for a connection with the splice behind it, at 1550 nm."""
    return {
        "code": "TERM-1550",
        "quantity": "termination_loss",
        "wavelength_nm": 1550,
        "limit_db": 0.5,
        **changes,
    }


def connection_criterion(**changes: Any) -> Body:
    """Return a limit of 0.50 dB for each mated pair at 1550 nm."""
    return {"code": "PAIR-1550", "quantity": "connection_loss", "wavelength_nm": 1550, "limit_db": 0.5, **changes}


def reflectance_criterion(**changes: Any) -> Body:
    """Return a limit of -50 dB for what each mated pair sends back at 1550 nm."""
    limits = {"joint": "pair", "limit_db": -50.0}
    return {"code": "REFL-1550", "quantity": "reflectance", "wavelength_nm": 1550, **limits, **changes}


def statistic_criterion(**changes: Any) -> Body:
    """Return a limit of 0.10 dB for the mean of a fibre's splices at 1550 nm."""
    population = {"joint": "splice", "statistic": "mean", "over": "fibre"}
    return {
        "code": "MEAN",
        "quantity": "joint_statistic",
        "wavelength_nm": 1550,
        "limit_db": 0.1,
        **population,
        **changes,
    }


def stray_criterion(**changes: Any) -> Body:
    """Return a limit of 0.10 dB for each loss on no joint at 1550 nm."""
    return {"code": "STRAY-1550", "quantity": "stray_loss", "wavelength_nm": 1550, "limit_db": 0.1, **changes}


def bend_criterion(**changes: Any) -> Body:
    """Return a bend's signature: more than 0.20 dB and more than 1.5 times as much at 1550 nm as at 1310 nm."""
    wavelengths = {"short_wavelength_nm": 1310, "long_wavelength_nm": 1550}
    return {"code": "BEND", "quantity": "bend", "limit_db": 0.2, **wavelengths, **changes}


def difference_criterion(**changes: Any) -> Body:
    """Return a limit of 0.5 dB for how far the two directions of a splice are apart at 1550 nm."""
    return {"code": "APART", "quantity": "direction_difference", "wavelength_nm": 1550, "limit_db": 0.5, **changes}


def density_criterion(**changes: Any) -> Body:
    """Return a limit of one splice per kilometre."""
    return {"code": "DENSITY", "quantity": "splice_density", "limit_per_km": 1.0, **changes}


def coefficient_criterion(**changes: Any) -> Body:
    """Return a limit of 0.25 dB/km for each section at 1550 nm."""
    limit = {"over": "section", "wavelength_nm": 1550, "limit_db_per_km": 0.25}
    return {"code": "COEFF", "quantity": "attenuation_coefficient", **limit, **changes}


def reel_criterion(**changes: Any) -> Body:
    """Return at most 0.02 dB/km more than on the reel at 1550 nm."""
    limit = {"wavelength_nm": 1550, "limit_db_per_km": 0.02}
    return {"code": "REEL-1550", "quantity": "reel_difference", **limit, **changes}


def return_loss_criterion(**changes: Any) -> Body:
    """Return a return loss of at least 32 dB at each end at 1550 nm."""
    return {"code": "ORL-1550", "quantity": "return_loss", "wavelength_nm": 1550, "limit_db": 32.0, **changes}


def length_criterion(**changes: Any) -> Body:
    """Return a length within one percent of the design's."""
    return {"code": "LENGTH", "quantity": "length", "limit_percent": 1.0, **changes}


def continuity_criterion(**changes: Any) -> Body:
    """Return the demand that each fibre be the same at both ends."""
    return {"code": "IDENTITY", "quantity": "continuity", **changes}


def end_face_criterion(**changes: Any) -> Body:
    """Return the demand that each end face be clean enough."""
    return {"code": "FACES", "quantity": "end_face", **changes}


def link_criterion(**changes: Any) -> Body:
    """Return a budget for the whole link at 1550 nm."""
    limit = {"kind": "budget", "attenuation_db_per_km": 0.25, "splice_db": 0.1, "connection_db": 0.5}
    return {
        "code": "LINK-1550",
        "quantity": "link_attenuation",
        "wavelength_nm": 1550,
        "combination": "mean",
        "limit": limit,
        "least_attenuation_db_per_km": 0.16,
        **changes,
    }


def reference_criterion(**changes: Any) -> Body:
    """Return a reference taken at most 12 hours before, at 1550 nm."""
    return {"code": "REF-1550", "quantity": "reference_age", "wavelength_nm": 1550, "limit_h": 12.0, **changes}


def required_test_criterion(**changes: Any) -> Body:
    """Return the demand for traces from both ends at 1550 nm."""
    return {"code": "OTDR-1550", "quantity": "required_test", "test": "otdr", "wavelength_nm": 1550, **changes}


def settings_criterion(**changes: Any) -> Body:
    """Return traces with 100 ns at most on short links and a threshold of 0.01 dB: a public clause's."""
    asked = {"pulses": [{"up_to_m": 10_000.0, "most_ns": 100}], "most_loss_threshold_db": 0.01}
    return {"code": "SETTINGS-1550", "quantity": "trace_settings", "wavelength_nm": 1550, **asked, **changes}


def required_record_criterion(**changes: Any) -> Body:
    """Return the demand for the record of each joint."""
    return {"code": "RECORDED", "quantity": "required_record", **changes}


def make_criteria(**changes: Any) -> Body:
    """Return criteria with one of each quantity, all at 1550 nm."""
    criteria = [splice_criterion(), termination_criterion(), link_criterion(), required_test_criterion()]
    return {"title": "Agreed criteria", "criteria": criteria, **changes}


def only(*criteria: Body, **changes: Any) -> Body:
    """Return criteria that hold these and nothing else."""
    return make_criteria(criteria=list(criteria), **changes)
