"""Return loss of a link, seen from one of its ends: glass, connections and what the far end sends back."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from worker.physics.arrays import are_finite, as_floats
from worker.physics.backscatter import section_backscatter_db
from worker.physics.errors import NonFiniteReadingError, OutOfRangeError, UnpairedReadingsError

# [km] A micrometre: sums of lengths differ in the last bits from the distances that were read off them.
_SLACK_KM = 1e-9

# Share of the light that a far end sends back which is angled, or absorbed in index-matching gel or a tight coil.
ABSORBED = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Link:
    """A link as light meets it: sections in order, and at their distances from the near end losses and reflections.

    Lengths and distances are along the fibre, distances stand in any order; reflectances are at most 0 dB. A
    connection that loses and reflects stands in both lists. Backscatter coefficients are those for a pulse of 1 ns.
    """

    section_lengths_km: ArrayLike
    attenuations_db_per_km: ArrayLike
    backscatter_coefficients_db: ArrayLike
    group_indices: ArrayLike
    loss_distances_km: ArrayLike = ()
    losses_db: ArrayLike = ()
    reflection_distances_km: ArrayLike = ()
    reflectances_db: ArrayLike = ()


def link_return_loss_db(*, link: Link, far_end_share: float) -> NDArray[np.float64]:
    r"""Return what a link sends back in all, seen from its near end, in dB.

    Parameters
    ----------
    link : Link
        The link as it lies from the end it is seen from. [km, dB/km, dB and unitless by field]
    far_end_share : float
        Share of the light that the far end sends back, between 0 (angled or absorbed) and 1; an open flat end and a
        given reflectance are turned into a share by `reflected_share`. [unitless]

    Returns
    -------
    ndarray of float64, scalar
        Return loss; larger is better. [dB]

    Raises
    ------
    UnpairedReadingsError
        If sections, losses or reflections do not come in sequences of one length each.
    NonFiniteReadingError
        If any value is NaN or infinite.
    OutOfRangeError
        If a length or attenuation is below 0, a reflectance above 0, a distance outside the link, the far end's share
        not between 0 and 1, or if nothing at all comes back.

    Notes
    -----
    .. math:: \mathrm{ORL} = -10\,\log_{10}\left[\sum_i 10^{(R_i - 2A_i)/10} + \sum_j P_{\mathrm{bs},j}\right]

    Sections are cut at each loss, so that every piece has one loss before it. A connection reflects before it loses,
    from whichever end it is seen: its own loss is not in its A. Powers add: no interference, no second reflections.
    The sum is taken relative to its greatest term, so that no loss over- or underflows.

    References
    ----------
    .. [1] IEC 61300-3-6 for the sign; the sum is common practice, no single published source.

    Examples
    --------
    >>> clean = Link(section_lengths_km=[5.0], attenuations_db_per_km=[0.35], backscatter_coefficients_db=[-79.0],
    ...              group_indices=[1.468])
    >>> float(link_return_loss_db(link=clean, far_end_share=ABSORBED).round(1))
    33.7
    """
    if not _come_in_pairs(link):
        raise UnpairedReadingsError("every section, loss and reflection needs all of its values")
    if not are_finite(*_values_of(link), as_floats(far_end_share)):
        raise NonFiniteReadingError("every value must be a finite number")
    if not _lies_in_range(link) or not 0 <= far_end_share <= 1:
        raise OutOfRangeError("a length, attenuation, reflectance, distance or share lies outside its range")
    returned_db = np.concatenate([_from_glass_db(link), _from_places_db(link), _from_far_end_db(link, far_end_share)])
    if not returned_db.size:
        raise OutOfRangeError("a link of no fibre and no reflection sends nothing back")
    greatest_db = returned_db.max()
    return as_floats(-greatest_db - 10 * np.log10((10 ** ((returned_db - greatest_db) / 10)).sum()))


def _values_of(link: Link) -> tuple[NDArray[np.float64], ...]:
    """Return every sequence of a link: four of its sections, two of its losses, two of its reflections."""
    sections = (link.section_lengths_km, link.attenuations_db_per_km)
    glass = (link.backscatter_coefficients_db, link.group_indices)
    places = (link.loss_distances_km, link.losses_db, link.reflection_distances_km, link.reflectances_db)
    return tuple(as_floats(values) for values in (*sections, *glass, *places))


def _come_in_pairs(link: Link) -> bool:
    """Tell whether the sequences that belong together are as long as each other."""
    shapes = [values.shape for values in _values_of(link)]
    groups = (shapes[:4], shapes[4:6], shapes[6:])
    return all(len(shape) == 1 for shape in shapes) and all(len(set(group)) == 1 for group in groups)


def _lies_in_range(link: Link) -> bool:
    """Tell whether lengths, attenuations, reflectances and distances are such as a link can have."""
    lengths, attenuations, _, _, losses_at, _, reflections_at, reflectances = _values_of(link)
    distances = np.concatenate([losses_at, reflections_at])
    beyond = (distances < -_SLACK_KM) | (distances > lengths.sum() + _SLACK_KM)
    return not ((lengths < 0).any() or (attenuations < 0).any() or (reflectances > 0).any() or beyond.any())


def _from_glass_db(link: Link) -> NDArray[np.float64]:
    """Return what each piece of fibre between two cuts sends back."""
    lengths, attenuations, coefficients, indices, losses_at, *_ = _values_of(link)
    starts = _section_starts_km(link)
    cuts = np.unique(np.concatenate([starts, losses_at[(losses_at > 0) & (losses_at < starts[-1])]]))
    pieces = cuts[:-1]
    section = np.searchsorted(starts, pieces, side="right") - 1
    if not lengths.size:
        return np.empty(0)
    return section_backscatter_db(
        length_km=np.diff(cuts),
        attenuation_db_per_km=attenuations[section],
        backscatter_coefficient_db=coefficients[section],
        group_index=indices[section],
        loss_before_db=_glass_loss_db(link, pieces) + _loss_of_places_db(link, pieces, side="right"),
    )


def _from_places_db(link: Link) -> NDArray[np.float64]:
    """Return what each reflection sends back through what lies before it."""
    *_, reflections_at, reflectances = _values_of(link)
    before_db = _glass_loss_db(link, reflections_at) + _loss_of_places_db(link, reflections_at, side="left")
    return reflectances - 2 * before_db


def _from_far_end_db(link: Link, share: float) -> NDArray[np.float64]:
    """Return what the far end sends back through the whole link, as a sequence of one or none."""
    lengths, attenuations, _, _, _, losses, _, _ = _values_of(link)
    if share == 0:
        return np.empty(0)
    return as_floats([10 * np.log10(share) - 2 * ((lengths * attenuations).sum() + losses.sum())])


def _section_starts_km(link: Link) -> NDArray[np.float64]:
    """Return where each section starts, and where the last one ends."""
    return np.concatenate([[0.0], np.cumsum(as_floats(link.section_lengths_km))])


def _glass_loss_db(link: Link, distances_km: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the one-way loss of the fibre alone from the near end to each distance."""
    losses = as_floats(link.section_lengths_km) * as_floats(link.attenuations_db_per_km)
    return as_floats(np.interp(distances_km, _section_starts_km(link), np.concatenate([[0.0], np.cumsum(losses)])))


def _loss_of_places_db(
    link: Link, distances_km: NDArray[np.float64], *, side: Literal["left", "right"]
) -> NDArray[np.float64]:
    """Return the one-way loss of all places up to each distance: left leaves out what lies at it, right takes it in."""
    losses_at = as_floats(link.loss_distances_km)
    order = np.argsort(losses_at, kind="stable")
    summed = np.concatenate([[0.0], np.cumsum(as_floats(link.losses_db)[order])])
    return as_floats(summed[np.searchsorted(losses_at[order], distances_km, side=side)])
