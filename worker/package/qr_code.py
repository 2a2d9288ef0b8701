"""A verification code as a QR symbol."""

from collections.abc import Iterator

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

Box = tuple[float, float, float, float]


def qr_boxes(text: str, *, left: float, top: float, side_pt: float) -> Iterator[Box]:
    """Return the dark boxes of the symbol, one for each run of dark modules in a line."""
    symbol = QRCode(None, QRErrorCorrectLevel.M)
    symbol.addData(text)
    symbol.make()
    module_pt = side_pt / symbol.getModuleCount()
    for line, modules in enumerate(symbol.modules):
        bottom = top - (line + 1) * module_pt
        for first, end in _dark_runs(modules):
            yield left + first * module_pt, bottom, left + end * module_pt, bottom + module_pt


def _dark_runs(modules: list[bool]) -> Iterator[tuple[int, int]]:
    first = None
    for index, is_dark in enumerate([*modules, False]):
        if is_dark and first is None:
            first = index
        elif not is_dark and first is not None:
            yield first, index
            first = None
