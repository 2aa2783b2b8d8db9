"""Addresses as QR codes, for paper that leads back to its page."""

import segno
from markupsafe import Markup


def qr_code(address: str, *, title: str, css_class: str) -> Markup:
    """The address as a QR code (ISO/IEC 18004): inline SVG without style attributes, as large as its class says.

    Level M survives a scratched tag: about 15 % of the code words may be lost.
    """
    svg = segno.make(address, error="m", micro=False).svg_inline(
        title=title, svgclass=css_class, lineclass=None, border=4, omitsize=True, dark="#000000", light="#ffffff"
    )
    return Markup(svg)  # noqa: S704  # made here from modules, not from what somebody typed
