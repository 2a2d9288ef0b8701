"""Where the embedded typeface's files are."""

from pathlib import Path

FONTS = Path(__file__).parent / "fonts"
REGULAR_FONT = FONTS / "DejaVuSans.ttf"
