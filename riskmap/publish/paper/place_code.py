"""A QR code that opens a place in a telephone's map: its coordinates as a ``geo:`` address.

RFC 5870 (2010): latitude first, WGS 84, decimal degrees. It needs no server and no network, and
says nothing of the parcel to who scans it.
"""

from __future__ import annotations

import io

import segno


def geo_address(longitude: float, latitude: float) -> str:
    """Write a place as a ``geo:`` address, to about a tenth of a meter.

    >>> geo_address(-89.5, 44.25)
    'geo:44.250000,-89.500000'
    """
    return f"geo:{latitude:.6f},{longitude:.6f}"


def qr_svg(content: str) -> str:
    """Draw a QR code (ISO/IEC 18004, level M) as an SVG; it needs four modules of white around."""
    drawn = io.BytesIO()
    segno.make(content, error="m", micro=False, boost_error=False).save(
        drawn, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=0
    )
    return drawn.getvalue().decode("ascii")
