from __future__ import annotations

import base64
import gzip
import json
import re
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.publish.packing import (
    WORLD,
    Package,
    pack_codes,
    pack_numbers,
    pack_shapes,
    pack_text,
    pack_words,
    pixels,
    varints,
    zigzag,
)


def read_varints(data: bytes) -> list[int]:
    """A plain reader, byte by byte, as the format's own description says."""
    out, value, shift = [], 0, 0
    for byte in data:
        value |= (byte & 127) << shift
        shift += 7
        if not byte & 128:
            out.append(value)
            value = shift = 0
    return out


def read_steps(data: bytes) -> list[int]:
    return np.cumsum([(v >> 1) ^ -(v & 1) for v in read_varints(data)]).tolist()


def opened(package: Package) -> tuple[dict[str, Any], bytes]:
    raw = gzip.decompress(package.to_bytes())
    length = int.from_bytes(raw[:4], "little")
    return json.loads(raw[4 : 4 + length]), raw[4 + length :]


def read_shapes(package: Package) -> list[list[list[tuple[int, int]]]]:
    header, data = opened(package)
    about = header["shapes"]
    part = {
        key: data[about[key][0] : sum(about[key])] for key in ("parts", "sizes", "links", "x", "y")
    }
    xs, ys = read_steps(part["x"]), read_steps(part["y"])
    corners, fresh, corner = [], 0, -1
    for link in read_varints(part["links"]):
        if link == 0:
            corner, fresh = fresh, fresh + 1
        else:
            corner += ((link - 1) >> 1) ^ -((link - 1) & 1)
        corners.append((xs[corner], ys[corner]))
    rings, at = [], 0
    for size in read_varints(part["sizes"]):
        rings.append(corners[at : at + size])
        at += size
    out, at = [], 0
    for count in read_varints(part["parts"]):
        out.append(rings[at : at + count])
        at += count
    return out


def read_column(package: Package, about: dict[str, Any], count: int) -> list[Any]:
    header, data = opened(package)
    start, length = about["place"]
    held = list(range(count))
    if about.get("among"):
        bits = data[header["among"][0] :]
        held = [row for row in held if bits[row // 8] >> row % 8 & 1]
    block = data[start : start + length]
    if about["kind"] == "text":
        return block.decode("utf-8").split("\n")
    stored = [
        sum(block[plane * len(held) + at] << (8 * plane) for plane in range(about["width"]))
        for at in range(len(held))
    ]
    if "steps_from" in about:
        steps = np.cumsum([(v >> 1) ^ -(v & 1) for v in stored])
        stored = (about["steps_from"] + steps).tolist()
    codes = [0] * count
    for row, code in zip(held, stored, strict=True):
        codes[row] = code
    if about["kind"] == "code":
        return ["" if c == 0 else about["words"][c - 1] for c in codes]
    values = about.get("values")
    whole = [None if c == 0 else values[c - 1] if values else c - 1 + about["low"] for c in codes]
    return [None if w is None else w / 10 ** about["decimals"] for w in whole]


class TestPublishedValues:
    def test_zigzag_and_varints_as_in_the_protocol_buffers_encoding_guide(self) -> None:
        # Protocol Buffers encoding guide: 150 -> 96 01; zigzag 0, -1, 1, -2, 2147483647,
        # -2147483648 -> 0, 1, 2, 3, 4294967294, 4294967295 (from memory).
        assert varints(np.array([150])).hex() == "9601"
        signed = np.array([0, -1, 1, -2, 2147483647, -2147483648])
        assert zigzag(signed).tolist() == [0, 1, 2, 3, 4294967294, 4294967295]

    def test_web_mercator_pixels_of_the_world(self) -> None:
        # OGC 17-083r2 (WebMercatorQuad): 256 * 2**z pixels round the equator, origin north-west.
        points = gpd.GeoSeries(shapely.points([[0.0, 0.0], [-180.0, 85.0511287798066]]), crs=4326)
        east, south = pixels(points)
        assert east.tolist() == [WORLD // 2, 0]
        assert south.tolist() == [WORLD // 2, 0]


class TestProperties:
    @given(st.lists(st.integers(0, 2**40), max_size=60))
    @settings(max_examples=50)
    def test_varints_read_back(self, values: list[int]) -> None:
        assert read_varints(varints(np.array(values, dtype=np.int64))) == values

    @given(
        st.lists(st.one_of(st.none(), st.integers(-90_000, 90_000)), min_size=1, max_size=400),
        st.integers(0, 2),
    )
    @settings(max_examples=50)
    def test_numbers_read_back_and_missing_stays_missing(
        self, values: list[int | None], decimals: int
    ) -> None:
        package = Package()
        column = pd.Series([np.nan if v is None else v / 10**decimals for v in values])
        about = pack_numbers(package, column, decimals=decimals)
        back = read_column(package, about, len(values))
        for got, want in zip(back, values, strict=True):
            assert got is None if want is None else got == pytest.approx(want / 10**decimals)

    @given(st.lists(st.one_of(st.none(), st.text(max_size=12)), min_size=1, max_size=80))
    @settings(max_examples=50)
    def test_text_keeps_one_line_a_row(self, values: list[str | None]) -> None:
        for pack in (pack_text, pack_words, pack_codes):
            package = Package()
            about = pack(package, pd.Series(values, dtype=object))
            back = read_column(package, about, len(values))
            assert len(back) == len(values)
            for got, want in zip(back, values, strict=True):
                if want is None:
                    assert got == ""
                elif want.isascii() and want.isprintable():
                    assert got == want.strip()

    @given(
        st.lists(st.one_of(st.none(), st.integers(-40, 70_000)), min_size=1, max_size=80),
        st.data(),
    )
    @settings(max_examples=40, deadline=None)
    def test_rows_outside_the_common_set_cost_nothing(
        self, values: list[int | None], data: st.DataObject
    ) -> None:
        flags = data.draw(st.lists(st.booleans(), min_size=len(values), max_size=len(values)))
        among = np.array(flags)
        inside = [v if keep else None for v, keep in zip(values, flags, strict=True)]
        package = Package(among)
        about = pack_numbers(package, pd.Series(inside, dtype=float))
        assert about["among"]
        assert about["place"][1] == about["width"] * among.sum()
        assert read_column(package, about, len(values)) == inside

    def test_a_value_outside_the_common_set_is_kept(self) -> None:
        package = Package(np.array([True, False, True]))
        about = pack_numbers(package, pd.Series([1.0, 2.0, 3.0]))
        assert "among" not in about
        assert read_column(package, about, 3) == [1.0, 2.0, 3.0]

    def test_smooth_columns_are_written_as_steps_and_equal_blocks_once(self) -> None:
        smooth = pd.Series((5000 * np.sin(np.arange(4000) / 300)).round())
        package = Package()
        about = pack_numbers(package, smooth)
        assert about["steps_from"] == smooth[0] - smooth.min() + 1
        assert about["width"] == 1
        assert read_column(package, about, 4000) == smooth.tolist()
        size = package.size
        assert pack_numbers(package, smooth) == about
        assert package.size == size


class TestShapes:
    def test_rings_come_back_in_order_without_the_closing_corner(self) -> None:
        crs = 32616
        square = shapely.Polygon(
            [(500_000, 4_600_000), (500_050, 4_600_000), (500_050, 4_600_050), (500_000, 4_600_050)]
        )
        holed = shapely.Polygon(
            square.exterior.coords,
            [[(500_010, 4_600_010), (500_020, 4_600_010), (500_015, 4_600_020)]],
        )
        both = shapely.MultiPolygon([square, shapely.affinity.translate(square, 80, 0)])
        shapes = gpd.GeoSeries([square, holed, both], crs=crs)
        package = Package()
        pack_shapes(package, shapes)
        back = read_shapes(package)
        assert [[len(ring) for ring in rings] for rings in back] == [[4], [4, 3], [4, 4]]
        east, south = pixels(gpd.GeoSeries([square], crs=crs))
        assert back[0][0] == list(zip(east[:-1].tolist(), south[:-1].tolist(), strict=True))
        assert back[1][0] == back[0][0]

    def test_shared_corners_are_written_once(self) -> None:
        cells = [
            shapely.box(x, y, x + 40, y + 40) for x in range(0, 400, 40) for y in range(0, 400, 40)
        ]
        shapes = gpd.GeoSeries(cells, crs=3857)
        package = Package()
        pack_shapes(package, shapes)
        header, _ = opened(package)
        assert header["shapes"]["vertices"] == 400
        assert header["shapes"]["corners"] == 121
        east, south = pixels(shapes)
        flat = [corner for rings in read_shapes(package) for ring in rings for corner in ring]
        keep = np.arange(len(east)) % 5 != 4
        assert flat == list(zip(east[keep].tolist(), south[keep].tolist(), strict=True))

    def test_lines_and_points(self) -> None:
        line = shapely.LineString([(0, 0), (100, 0), (100, 100), (0, 0)])
        package = Package()
        pack_shapes(package, gpd.GeoSeries([line], crs=3857))
        assert [len(r) for r in read_shapes(package)[0]] == [4]
        package = Package()
        pack_shapes(package, gpd.GeoSeries(shapely.points([[0, 0], [5, 5]]), crs=3857))
        assert [[len(r) for r in rings] for rings in read_shapes(package)] == [[1], [1]]

    def test_a_lot_smaller_than_a_pixel_keeps_one_corner(self) -> None:
        package = Package()
        pack_shapes(package, gpd.GeoSeries([shapely.box(0.0, 0.0, 0.01, 0.01)], crs=3857))
        assert [[len(r) for r in rings] for rings in read_shapes(package)] == [[1]]


class TestScript:
    def test_is_plain_ascii_and_the_same_bytes_twice(self) -> None:
        package = Package(header={"name": "</script>"})
        package.add(b"\x00\xff")
        script = package.to_script("a</script>b")
        assert script == package.to_script("a</script>b")
        assert script.isascii()
        assert "<" not in script
        text = re.search(r'="([^"]*)";', script)
        assert text is not None
        assert gzip.decompress(base64.b64decode(text[1])) == gzip.decompress(package.to_bytes())
        assert package.to_bytes()[4:8] == b"\x00\x00\x00\x00"  # RFC 1952: MTIME 0, no time stamp
