"""A route as it is designed: sites in order from A, the cable between them, what is paid for, who joins what.

Lengths are metres of cable; `excess_percent` says how much longer the fibre inside it is. A fibre has a route number,
the same from end to end, and a cable number in each section; they are equal where neither section nor splice plan says
anything else. Sites and sections are the project's: several routes pass them, each with fibres of its own.
"""

from typing import Annotated

from pydantic import Field

from service.vocabulary import quantities as q
from service.vocabulary.design.words import FibreAction, SiteKind, Splicing, Termination

# Where fibres end on connectors.
_ENDED_AT = {SiteKind.TERMINAL, SiteKind.PATCH_PANEL}


class Tray(q.Value):
    """A tray of a site, and how many splices it holds."""

    number: q.TrayNumber
    capacity: Annotated[int, Field(strict=True, ge=1, le=1728)]


class Site(q.Value):
    """A place on the route; it belongs to the project, and other routes may pass it too.

    `pigtail_fibre_type` is that of the pigtails onto which fibres are spliced there.
    """

    id: q.Identifier
    name: q.Text
    kind: SiteKind
    termination: Termination | None = None
    pigtail_fibre_type: q.Identifier | None = None
    patch_cord: q.Flag = False
    trays: Annotated[tuple[Tray, ...], Field(max_length=200)] = ()

    @property
    def has_pigtails(self) -> bool:
        """Tell whether fibres are spliced onto pigtails here; they are where nothing is said of how they end."""
        return self.kind in _ENDED_AT and self.termination in {None, Termination.PIGTAIL}


class Optics(q.Value):
    """A fibre's group index and backscatter coefficient at one wavelength, where the maker states them."""

    wavelength_nm: q.WavelengthNm
    group_index: q.GroupIndex | None = None
    backscatter_db: q.BackscatterDb | None = None


class FibreRange(q.Value):
    """Neighbouring fibre numbers, both ends included."""

    first: q.FibreNumber
    last: q.FibreNumber

    def numbers(self) -> range:
        """Return the fibre numbers."""
        return range(self.first, self.last + 1)


class ReelTest(q.Value):
    """What fibre lost for each kilometre on its reel, before it was laid: some of a cable's fibres, or all of them.

    What is said of some goes before what is said of all.
    """

    wavelength_nm: q.WavelengthNm
    attenuation_db_per_km: q.PositiveAttenuationDbPerKm
    cable_fibres: FibreRange | None = None


class Section(q.Value):
    """The cable between two neighbouring sites, which other routes may pass with other fibres of it.

    `fibre_count` is how many fibres the cable has. `first_cable_fibre` is the one that the route's first fibre takes,
    the others behind it in order; without a word they go on under the numbers of the section before. It alone is the
    route's own: all else is said alike by every route that passes, as far as it is said.
    """

    id: q.Identifier
    cable_length_m: q.LengthM
    slack_m: q.LengthM = 0.0
    excess_percent: q.Percent = 0.0
    reel: q.Identifier | None = None
    fibre_count: q.FibreNumber | None = None
    first_cable_fibre: q.FibreNumber | None = None
    fibre_type: q.Identifier
    fibres_per_tube: Annotated[int, Field(strict=True, ge=1, le=24)] = 12
    colour_scheme: q.Identifier = "tia_598"
    optics: Annotated[tuple[Optics, ...], Field(max_length=8)] = ()
    reel_tests: Annotated[tuple[ReelTest, ...], Field(max_length=2000)] = ()


class Segment(q.Value):
    """A run of neighbouring sites and sections that is paid for as one thing."""

    id: q.Identifier
    name: q.Text
    billing_item: q.Identifier
    sites: Annotated[tuple[q.Identifier, ...], Field(max_length=500)]
    sections: Annotated[tuple[q.Identifier, ...], Field(max_length=500)]
    fibres: Annotated[tuple[FibreRange, ...], Field(min_length=1, max_length=100)]


class PlannedFibres(q.Value):
    """What happens at a site to neighbouring route fibres.

    `to_cable_fibre` is where the first of them goes on, `tray` where their splices lie, or they themselves. They are
    fused one by one, unless `splicing` says that it is done by ribbons. Where they are terminated, `port` is the
    connector that the first of them ends on, and `to_port` the one to which a patch cord leads it; the others follow in
    order.
    """

    site: q.Identifier
    fibres: FibreRange
    action: FibreAction
    to_cable_fibre: q.FibreNumber | None = None
    tray: q.TrayNumber | None = None
    splicing: Splicing | None = None
    port: q.PortNumber | None = None
    to_port: q.PortNumber | None = None


class Design(q.Value):
    """One design revision of a route."""

    code: q.Identifier
    name: q.Text
    fibre_count: q.FibreNumber
    sites: Annotated[tuple[Site, ...], Field(min_length=2, max_length=500)]
    sections: Annotated[tuple[Section, ...], Field(min_length=1, max_length=499)]
    segments: Annotated[tuple[Segment, ...], Field(min_length=1, max_length=500)]
    splice_plan: Annotated[tuple[PlannedFibres, ...], Field(max_length=5000)] = ()
