"""QR codes of places, read back by another program."""

from __future__ import annotations

import io

import numpy as np
import pytest
import segno

from riskmap.publish.paper.place_code import geo_address, qr_svg


@pytest.mark.parametrize(
    ("place", "written"),
    [
        ((-122.419416, 37.774929), "geo:37.774929,-122.419416"),
        ((0.0, -90.0), "geo:-90.000000,0.000000"),
        ((-0.0000001, 5.0), "geo:5.000000,-0.000000"),
    ],
)
def test_latitude_comes_first(place: tuple[float, float], written: str) -> None:
    assert geo_address(*place) == written  # RFC 5870, 3.4.1: "geo:" lat "," lon


def test_a_code_is_read_back_by_another_program() -> None:
    """OpenCV's detector reads what was drawn, at the size in which a telephone sees it."""
    cv2 = pytest.importorskip("cv2", reason="no program that reads QR codes is here")
    content = geo_address(-89.123456, 45.987654)
    drawn = io.BytesIO()
    segno.make(content, error="m", micro=False, boost_error=False).save(drawn, kind="png", scale=8)
    picture = cv2.imdecode(np.frombuffer(drawn.getvalue(), np.uint8), cv2.IMREAD_GRAYSCALE)
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == content


def test_a_place_fits_the_second_smallest_code() -> None:
    """25 modules a side hold 26 signs at level M (ISO/IEC 18004, table 7): 0.5 mm each on paper."""
    assert segno.make(geo_address(-89.123456, 45.987654), error="m", micro=False).version == 2
    assert qr_svg("geo:1.000000,2.000000").startswith("<svg")
