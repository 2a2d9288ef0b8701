"""What a PDF/A-3b file holds beside its pages: metadata, output intent, attached files."""

import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas

from worker.package.archive.rules import allow_in_catalog, pdf_name

_MAKER = "route-acceptance"
_MIME_TYPE = "application/json"
_ICC_PROFILE = Path(__file__).parent / "srgb.icc"
_DESCRIPTIONS = {
    "package.json": "What the package is, and what it stands on",
    "findings.json": "Every finding, with the verdict",
    "criteria.json": "The criteria as agreed",
    "design.json": "The route as designed",
    "records.json": "Every record of the submission",
}


@dataclass(frozen=True, kw_only=True)
class DocumentInformation:
    """What a document says of itself: plain text, without controls."""

    title: str
    author: str
    subject: str
    number: str
    at: datetime


@dataclass(frozen=True, kw_only=True)
class Packed:
    """A file to attach, compressed."""

    compressed: bytes
    size: int
    sha256: str


def pack(pieces: Iterable[bytes]) -> Packed:
    """Compress a file to attach, piece by piece, so that it is never held whole."""
    packer, digest, size = zlib.compressobj(), sha256(), 0
    compressed = BytesIO()
    for piece in pieces:
        size += len(piece)
        digest.update(piece)
        compressed.write(packer.compress(piece))
    compressed.write(packer.flush())
    return Packed(compressed=compressed.getvalue(), size=size, sha256=digest.hexdigest())


def new_canvas(target: Any, about: DocumentInformation, *, size_pt: tuple[float, float], font_name: str) -> Canvas:
    """Return a canvas whose document says what it is, in its information and in its metadata alike."""
    # Without an initial font of our own each page would name Helvetica, which is not embedded.
    canvas = Canvas(
        target,
        pagesize=size_pt,
        pageCompression=1,
        invariant=1,
        pdfVersion=(1, 7),
        initialFontName=font_name,
        lang="en",
    )
    canvas.setTitle(about.title)
    canvas.setAuthor(about.author)
    canvas.setSubject(about.subject)
    canvas.setKeywords(about.number)
    canvas.setCreator(_MAKER)
    canvas.setProducer(_MAKER)
    canvas.setDateFormatter(lambda *_: _pdf_date(about.at))
    canvas.showOutline()
    return canvas


def add_archive_parts(document: Any, about: DocumentInformation, *, attachments: Mapping[str, Packed]) -> None:
    """Add metadata, output intent and attached files to a document."""
    allow_in_catalog(document, ["OutputIntents", "AF"])
    catalog = document.Catalog
    catalog.Metadata = _metadata_stream(about)
    catalog.OutputIntents = pdfdoc.PDFArray([_output_intent(document)])
    files = [
        (name, document.Reference(_file_specification(document, about, name=name, file=attachments[name])))
        for name in sorted(attachments)
    ]
    catalog.AF = pdfdoc.PDFArray([reference for _, reference in files])
    names = pdfdoc.PDFArray([part for name, reference in files for part in (pdfdoc.PDFString(name), reference)])
    catalog.Names = pdfdoc.PDFDictionary({"EmbeddedFiles": pdfdoc.PDFDictionary({"Names": names})})
    for name in sorted(attachments):
        document.updateSignature(attachments[name].sha256)


def _output_intent(document: Any) -> Any:
    profile = pdfdoc.PDFStream(
        dictionary=pdfdoc.PDFDictionary({"N": 3}), content=_ICC_PROFILE.read_bytes(), filters=[pdfdoc.PDFZCompress]
    )
    return pdfdoc.PDFDictionary(
        {
            "Type": pdf_name("OutputIntent"),
            "S": pdf_name("GTS_PDFA1"),
            "OutputConditionIdentifier": pdfdoc.PDFString("sRGB"),
            "Info": pdfdoc.PDFString("sRGB IEC61966-2.1"),
            "DestOutputProfile": document.Reference(profile),
        }
    )


def _file_specification(document: Any, about: DocumentInformation, *, name: str, file: Packed) -> Any:
    parameters = {"Size": file.size, "ModDate": pdfdoc.PDFString(_pdf_date(about.at))}
    stream = pdfdoc.PDFStream(
        dictionary=pdfdoc.PDFDictionary(
            {
                "Type": pdf_name("EmbeddedFile"),
                "Subtype": pdf_name(_MIME_TYPE),
                "Params": pdfdoc.PDFDictionary(parameters),
                "Filter": pdf_name("FlateDecode"),
            }
        ),
        content=file.compressed,
    )
    reference = document.Reference(stream)
    return pdfdoc.PDFDictionary(
        {
            "Type": pdf_name("Filespec"),
            "F": pdfdoc.PDFString(name),
            "UF": pdfdoc.PDFString(name),
            "Desc": pdfdoc.PDFString(_DESCRIPTIONS.get(name, name)),
            "AFRelationship": pdf_name("Data"),
            "EF": pdfdoc.PDFDictionary({"F": reference, "UF": reference}),
        }
    )


def _metadata_stream(about: DocumentInformation) -> Any:
    # Bytes, and no filter: text would be encoded as document text, and an archive has to read this without a decoder.
    dictionary = pdfdoc.PDFDictionary({"Type": pdf_name("Metadata"), "Subtype": pdf_name("XML")})
    return pdfdoc.PDFStream(dictionary=dictionary, content=_metadata(about).encode())


def _metadata(about: DocumentInformation) -> str:
    title, author, subject, number = map(escape, (about.title, about.author, about.subject, about.number))
    at = about.at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S+00:00")
    return f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about=""
 xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/"
 xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 xmlns:pdf="http://ns.adobe.com/pdf/1.3/">
<pdfaid:part>3</pdfaid:part>
<pdfaid:conformance>B</pdfaid:conformance>
<dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description>
<xmp:CreateDate>{at}</xmp:CreateDate>
<xmp:ModifyDate>{at}</xmp:ModifyDate>
<xmp:MetadataDate>{at}</xmp:MetadataDate>
<xmp:CreatorTool>{_MAKER}</xmp:CreatorTool>
<pdf:Producer>{_MAKER}</pdf:Producer>
<pdf:Keywords>{number}</pdf:Keywords>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>"""


def _pdf_date(instant: datetime) -> str:
    return instant.astimezone(UTC).strftime("D:%Y%m%d%H%M%S+00'00'")
