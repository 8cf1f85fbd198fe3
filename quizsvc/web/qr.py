"""An address as a picture that a phone reads."""

from __future__ import annotations

import segno
from markupsafe import Markup

__all__ = ["qr"]


def qr(address: str, title: str) -> Markup:
    """SVG of a QR code (ISO/IEC 18004, a quarter of it may be covered), black on white in light and dark alike.

    It has no size of its own: the style sheet gives one. `title` is what a screen reader says.
    """
    drawn = segno.make(address, error="q", micro=False)
    return Markup(  # segno escapes the title
        drawn.svg_inline(border=4, dark="#000", light="#fff", title=title, omitsize=True, svgclass="qr", lineclass=None)
    )
