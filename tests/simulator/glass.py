"""Draw a route's truth: glass, splices and connections as an honest crew and ordinary cable give them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from tests.simulator.draws import Floats, draw_around, draw_between, rounded, start
from tests.simulator.truth import RouteTruth, mismatch_loss_db

WAVELENGTHS_NM = (1310, 1550)

# Ordinary single-mode glass: mode fields from trade practice, attenuation well inside purchase specifications.
_MODE_FIELD_UM = np.array([9.2, 10.4])
_MODE_FIELD_DEVIATION = 0.12 / 9.2
_ATTENUATION_DB_PER_KM = np.array([0.335, 0.192])
_GROUP_INDEX = np.array([1.4677, 1.4682])
_BACKSCATTER_DB = np.array([-79.5, -81.5])
_NEAR_DB, _BEYOND_DB = (-0.02, 0.02), (0.02, 0.6)


def draw_truth(
    *,
    sites: Sequence[str],
    section_lengths_m: Floats,
    fibre_count: int,
    uncut: Mapping[int, Sequence[int]],
    seed: int,
) -> RouteTruth:
    """Draw a route; `uncut` gives, by the index of a site, the fibres that pass it in one piece.

    The cable on both sides of such a site is one, so its spliced fibres meet their own glass again. Lengths are those
    of each fibre, or one to a section where all are as long.
    """
    sections = section_lengths_m.shape[-1]
    glass, joints, ends = start(seed, 1), start(seed, 2), start(seed, 3)
    mode_field_um = _draw_mode_fields(glass, (fibre_count, sections))
    attenuation = _ATTENUATION_DB_PER_KM[:, None, None] * draw_around(
        glass, (2, fibre_count, sections), centre=1, deviation=0.012
    )
    has_splice = np.ones((fibre_count, len(sites)), dtype=np.bool_)
    for site, fibres in uncut.items():
        mode_field_um[:, :, site] = mode_field_um[:, :, site - 1]
        attenuation[:, :, site] = attenuation[:, :, site - 1]
        has_splice[np.asarray(fibres) - 1, site] = False
    pigtails_um = _draw_mode_fields(glass, (fibre_count, 2))
    neighbours_um = np.concatenate([pigtails_um[..., :1], mode_field_um, pigtails_um[..., 1:]], axis=2)
    mismatch_db = mismatch_loss_db(one_um=neighbours_um[..., :-1], other_um=neighbours_um[..., 1:])
    workmanship_db = draw_between(joints, (fibre_count, len(sites)), low=0.01, high=0.06)
    between_wavelengths_db = draw_between(joints, (2, fibre_count, len(sites)), low=-0.004, high=0.004)
    pair_loss_db = draw_between(ends, (fibre_count, 2), low=0.12, high=0.28)
    return RouteTruth(
        wavelengths_nm=WAVELENGTHS_NM,
        sites=tuple(sites),
        section_lengths_m=np.broadcast_to(section_lengths_m, (fibre_count, sections)),
        group_index=_GROUP_INDEX,
        nominal_mode_field_um=_MODE_FIELD_UM,
        nominal_backscatter_db=_BACKSCATTER_DB,
        mode_field_um=mode_field_um,
        pigtail_mode_field_um=pigtails_um,
        attenuation_db_per_km=rounded(attenuation, 4),
        has_splice=has_splice,
        splice_loss_db=rounded(workmanship_db + between_wavelengths_db + mismatch_db, 4),
        pair_loss_db=rounded(pair_loss_db + draw_between(ends, (2, fibre_count, 2), low=-0.01, high=0.01), 4),
        pair_reflectance_db=rounded(
            np.broadcast_to(draw_around(ends, (fibre_count, 2), centre=-63, deviation=0.7), (2, fibre_count, 2)), 1
        ),
    )


def with_marginal(truth: RouteTruth, *, limit_db: float, seed: int) -> RouteTruth:
    """Return the route with two splices of every even fibre near a limit or beyond it, to any size that is met.

    Half of them lie within 0.02 dB of it, where noise decides, the others up to 0.6 dB above.
    """
    source, losses = start(seed, 8), truth.splice_loss_db.copy()
    for fibre in range(1, truth.fibre_count, 2):
        inside = np.flatnonzero(truth.has_splice[fibre, 1:-1]) + 1
        for site in source.choice(inside, size=2, replace=False).tolist():
            low, high = _NEAR_DB if source.random() < 0.5 else _BEYOND_DB
            own = limit_db + draw_between(source, (), low=low, high=high)
            losses[:, fibre, site] = own + draw_between(source, (2,), low=-0.004, high=0.004)
    return replace(truth, splice_loss_db=rounded(losses, 4))


def draw_estimates_db(truth: RouteTruth, *, seed: int) -> Floats:
    """Draw what the splicer's screen would say of each splice [fibre, site]: near the truth, never below zero."""
    error = draw_around(start(seed, 4), truth.has_splice.shape, centre=0, deviation=0.01)
    return rounded(np.clip(truth.splice_loss_db.mean(axis=0) + error, 0, 0.07), 2)


def _draw_mode_fields(source: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Draw mode fields; a fibre wide at one wavelength is as wide, nearly, at the other."""
    common = draw_around(source, shape, centre=1, deviation=_MODE_FIELD_DEVIATION)
    own = draw_between(source, (2, *shape), low=-0.001, high=0.001)
    return rounded(_MODE_FIELD_UM[:, None, None] * (common + own), 3)
