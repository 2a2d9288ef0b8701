"""Cautions and scope, as each package prints them: reminders, which never say that a place or a fibre is safe."""

from worker.package.document_model import Paragraph, Section, Subheading

_SCOPE = (
    "This package sets measured values beside limits that owner and contractor agreed. It reports what the records say "
    "about the fibres and joints of the segments submitted, and what they leave open.",
    "The software that made it never says that a place, a cable or a fibre is safe to work on. Local codes, the "
    "contract and the owner's licensed engineer come before anything printed here; acceptance is the engineer's act.",
)
_CAUTIONS = (
    (
        "Laser light",
        "The light in these fibres cannot be seen and can harm the eye. A fibre that looks dark may carry power: "
        "measure it with a meter, and never look into a fibre, a connector or a microscope without a filter. "
        "IEC 60825-1 and IEC 60825-2 give the hazard levels and what each asks for.",
    ),
    (
        "Glass",
        "Fibre offcuts pierce skin and eyes and are hard to find again. Wear glasses, put every piece into a bin with "
        "a lid, and count the pieces before leaving.",
    ),
    (
        "Arc and solvent",
        "A splicer's arc can set off gas and solvent vapour. Do not splice where either may be present, and keep "
        "isopropyl alcohol away from the arc.",
    ),
    (
        "Manholes and vaults",
        "Traffic, gas and lack of oxygen have to be dealt with before the cover is lifted. Local rules for confined "
        "spaces govern the entry; in the United States 29 CFR 1910.268 is one of them.",
    ),
)


def cautions_section() -> Section:
    """Return the section that stands before every number."""
    scope = [Paragraph(text=text) for text in _SCOPE]
    cautions = [block for title, text in _CAUTIONS for block in (Subheading(text=title), Paragraph(text=text))]
    return Section(title="Cautions and scope", blocks=(*scope, *cautions))
