from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.publish.map.column_plan import BEFORE, Coded, Telling, choose, stream
from riskmap.publish.map.entropy import DIGITS, numbers_stream, text_stream
from riskmap.publish.map.outlines import WORLD, pack_shapes, pixels, zigzag
from riskmap.publish.map.packing import Package, pack_codes, pack_numbers, pack_text, pack_words
from tests.publish.map_reading import Decoder, PackedFile, column_values, rings_of


def read_shapes(package: Package) -> list[list[list[tuple[int, int]]]]:
    return rings_of(PackedFile(package.to_scripts("a")["a"]), "shapes")


def read_columns(package: Package, block_rows: int | None = None) -> dict[int, list[int]]:
    """Codes of all columns by number, from one file or from blocks."""
    scripts = package.to_scripts("a", block_rows)
    head = PackedFile(scripts["a"])
    codes: dict[int, list[int]] = {slot: [] for slot in package.columns}
    first = 0
    files = [head] if block_rows is None else [
        PackedFile(text) for name, text in scripts.items() if name != "a"]  # fmt: skip
    given_slots = len(package.given)
    for file in files:
        count = len(next(iter(package.columns.values())).column.values) - first
        count = min(count, block_rows or count)
        known = {
            slot: (column.values[first : first + count].tolist(), column.size)
            for slot, column in enumerate(package.given.values())
        }
        among: list[int] | None = None
        for slot, packed in package.columns.items():
            about = packed.about
            rows = list(range(count))
            if about.get("among"):
                assert among is not None
                rows = [row for row in rows if among[row]]
            place = about.get("place")
            if block_rows is not None:
                ends = file.header["ends"]
                place = [
                    ends[slot - given_slots],
                    ends[slot - given_slots + 1] - ends[slot - given_slots],
                ]
            others = {
                number: ([values[row] for row in rows], size)
                for number, (values, size) in known.items()
            }
            found = column_values(file.stream(place), about, len(rows), others)
            values = [0] * count
            for row, value in zip(rows, found, strict=True):
                values[row] = value
            known[slot] = (values, about["size"])
            if slot == given_slots and package.among is not None:
                among = values
            meaning = np.cumsum([0, *(gap + 1 for gap in head.numbers(about["codes"]))]).tolist() \
                if "codes" in about else None  # fmt: skip
            codes[slot] += [meaning[value] for value in values] if meaning else values
        first += count
    return codes


def read_column(
    package: Package, about: dict[str, Any], block_rows: int | None = None
) -> list[Any]:
    codes = read_columns(package, block_rows)
    own = codes[about["slot"]]
    if about["kind"] == "number":
        low = about["low"] - 1
        return [None if code == 0 else (code + low) / 10 ** about["decimals"] for code in own]
    words = PackedFile(package.to_scripts("a", block_rows)["a"]).words(about["words"])
    out = []
    for row, code in enumerate(own):
        runs = iter(codes[run["slot"]][row] - 1 for run in about.get("runs", []))
        word = words[code - 1] if code else ""
        if about["kind"] == "text":
            word = "".join(
                str(next(runs)).zfill(ord(sign)) if 1 <= ord(sign) <= 9 else sign for sign in word
            )
        out.append(word)
    return out


class TestPublishedValues:
    def test_zigzag_as_in_the_protocol_buffers_encoding_guide(self) -> None:
        # Protocol Buffers encoding guide: zigzag 0, -1, 1, -2, 2147483647, -2147483648
        # -> 0, 1, 2, 3, 4294967294, 4294967295 (from memory).
        signed = np.array([0, -1, 1, -2, 2147483647, -2147483648])
        assert zigzag(signed).tolist() == [0, 1, 2, 3, 4294967294, 4294967295]

    def test_web_mercator_pixels_of_the_world(self) -> None:
        # OGC 17-083r2 (WebMercatorQuad): 256 * 2**z pixels round the equator, origin north-west.
        points = gpd.GeoSeries(shapely.points([[0.0, 0.0], [-180.0, 85.0511287798066]]), crs=4326)
        east, south = pixels(points)
        assert east.tolist() == [WORLD // 2, 0]
        assert south.tolist() == [WORLD // 2, 0]

    def test_a_random_source_takes_its_entropy(self) -> None:
        # Shannon 1948: no code is shorter than the entropy on average; an adaptive one comes near.
        rng = np.random.default_rng(3)
        chances = np.array([0.7, 0.2, 0.06, 0.03, 0.01])
        values = rng.choice(5, 40_000, p=chances)
        entropy_bits = -(chances * np.log2(chances)).sum() * len(values)
        column = Coded(values.astype(np.int64), 5)
        spent_bits = len(stream(column, {}, Telling())) * np.log2(len(DIGITS))
        assert entropy_bits * 0.985 < spent_bits < entropy_bits * 1.015


class TestProperties:
    @given(st.lists(st.one_of(st.integers(0, 9), st.integers(0, 2**31 - 2)), max_size=80))
    @settings(max_examples=50, deadline=None)
    def test_numbers_read_back(self, values: list[int]) -> None:
        package = Package()
        place = package.add_numbers(np.array(values, dtype=np.int64))
        file = PackedFile(package.to_scripts("a")["a"])
        assert file.numbers(place) == values

    def test_a_number_past_31_bits_is_refused(self) -> None:
        with pytest.raises(ValueError, match="31 bits"):
            numbers_stream(np.array([2**31 - 1]))
        with pytest.raises(ValueError, match="31 bits"):
            pack_numbers(Package(), pd.Series([0.0, 3e9]))

    @given(st.text(max_size=300))
    @settings(max_examples=40, deadline=None)
    def test_text_reads_back(self, text: str) -> None:
        data = text.encode("utf-8", "ignore")
        decoder, out = Decoder(text_stream(data).decode("ascii")), bytearray(3)
        for _ in data:
            context = (out[-3] * 65536 + out[-2] * 256 + out[-1]) % 4093
            out.append(decoder.tree(context, 8))
        assert bytes(out[3:]) == data

    @given(st.data(), st.integers(1, 5000), st.integers(0, 300))
    @settings(max_examples=60, deadline=None)
    def test_columns_read_back_however_they_are_told(
        self, data: st.DataObject, size: int, rows: int
    ) -> None:
        rng = np.random.default_rng(data.draw(st.integers(0, 9999)))
        others = {
            number: Coded(rng.integers(0, most, rows), most)
            for number, most in enumerate((3, 90_000))
        }
        linked = others[0].values * size // 3 + rng.integers(0, 1 + size // 9, rows)
        column = Coded(np.minimum(linked, size - 1), size)
        number = st.sampled_from([0, 1])
        telling = Telling(
            tuple(data.draw(st.lists(st.lists(number, max_size=2).map(tuple), max_size=3))),
            tuple(data.draw(st.lists(st.sampled_from([0, 1, BEFORE]), max_size=2))),
            data.draw(st.booleans()),
        )
        about = {
            "size": size,
            "guesses": telling.guesses,
            "context": telling.context,
            "steps": telling.steps,
        }
        decoder = Decoder(stream(column, others, telling).decode("ascii"))
        known = {slot: (other.values.tolist(), other.size) for slot, other in others.items()}
        assert column_values(decoder, about, rows, known) == column.values.tolist()

    @given(
        st.lists(st.one_of(st.none(), st.integers(-90_000, 90_000)), min_size=1, max_size=200),
        st.integers(0, 2),
    )
    @settings(max_examples=40, deadline=None)
    def test_numbers_read_back_and_missing_stays_missing(
        self, values: list[int | None], decimals: int
    ) -> None:
        package = Package()
        column = pd.Series([np.nan if v is None else v / 10**decimals for v in values])
        about = pack_numbers(package, column, decimals=decimals)
        back = read_column(package, about)
        for got, want in zip(back, values, strict=True):
            assert got is None if want is None else got == pytest.approx(want / 10**decimals)

    @given(
        st.lists(
            st.one_of(st.none(), st.text(max_size=12), st.from_regex(r"[0-9]{1,12} \w?[0-9]*")),
            min_size=1,
            max_size=60,
        )
    )
    @settings(max_examples=50, deadline=None)
    def test_text_keeps_one_line_a_row(self, values: list[str | None]) -> None:
        for pack in (pack_text, pack_words, pack_codes):
            package = Package()
            about = pack(package, pd.Series(values, dtype=object))
            back = read_column(package, about)
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
        given_column = {"twice": Coded(among * 2, 3)}
        for block_rows in (None, 17):
            package = Package(among, given_column)
            about = pack_numbers(package, pd.Series(inside, dtype=float))
            assert about["among"]
            assert read_column(package, about, block_rows) == inside

    def test_a_value_outside_the_common_set_is_kept(self) -> None:
        package = Package(np.array([True, False, True]))
        about = pack_numbers(package, pd.Series([1.0, 2.0, 3.0]))
        assert "among" not in about
        assert read_column(package, about) == [1.0, 2.0, 3.0]

    def test_a_column_that_follows_others_costs_next_to_nothing(self) -> None:
        rng = np.random.default_rng(1)
        unit, noise = rng.integers(0, 40, 6000), rng.integers(0, 900, 6000)
        follows = (unit * 37) % 1000
        package = Package()
        for values in (noise, unit, follows):
            pack_numbers(package, pd.Series(values))
        package.to_scripts("a")
        sizes = [packed.about["place"][1] for packed in package.columns.values()]
        assert sizes[2] < 0.08 * sizes[1]
        telling = choose(Coded(follows, 1000), {5: Coded(noise, 900), 7: Coded(unit, 40)})
        assert 7 in {*telling.context, *(n for guess in telling.guesses for n in guess)}

    def test_tables_of_one_file_are_not_told_from_each_other(self) -> None:
        package = Package()
        pack_numbers(package, pd.Series(np.arange(500) % 7))
        package.begin_table()
        about = pack_numbers(package, pd.Series(np.arange(500) % 7))
        package.to_scripts("a")
        assert 0 not in {*about["context"], *(n for guess in about["guesses"] for n in guess)}

    def test_blocks_hold_every_row_once(self) -> None:
        for count in (0, 1, 16, 17, 100):
            package = Package()
            about = pack_numbers(package, pd.Series(np.arange(count) * 7 % 30, dtype=float))
            assert read_column(package, about, 16) == [float(n * 7 % 30) for n in range(count)]
            assert len(package.to_scripts("a", 16)) == 1 + max(1, -(-count // 16))

    @settings(deadline=None)
    @given(st.lists(st.integers(0, 9), max_size=300), st.integers(0, 200), st.booleans())
    def test_a_stream_is_given_up_only_where_it_is_longer(
        self, values: list[int], most: int, steps: bool
    ) -> None:
        column = Coded(np.array(values, dtype=np.int64), 10)
        telling = Telling(((),), (BEFORE,), steps)
        whole = stream(column, {}, telling)
        part = stream(column, {}, telling, most)
        assert part == whole if len(whole) <= most else len(part) > most


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
        assert package.header["shapes"]["vertices"] == 400
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

    @given(st.data())
    @settings(max_examples=40, deadline=None)
    def test_any_rings_read_back(self, data: st.DataObject) -> None:
        side = st.integers(-60, 60) | st.integers(-70_000, 70_000)
        lines = []
        for _ in range(data.draw(st.integers(1, 4))):
            steps = data.draw(st.lists(st.tuples(side, side), min_size=2, max_size=12))
            lines.append(shapely.LineString(np.cumsum(np.array(steps) * 0.3, axis=0) + 1000))
        shapes = gpd.GeoSeries(lines, crs=3857)
        package = Package()
        pack_shapes(package, shapes)
        for line, rings in zip(shapes, read_shapes(package), strict=True):
            east, south = pixels(gpd.GeoSeries([line], crs=3857))
            want = list(zip(east.tolist(), south.tolist(), strict=True))
            assert rings[0] == [p for k, p in enumerate(want) if k == 0 or p != want[k - 1]]


class TestScript:
    def test_is_harmless_ascii_and_the_same_bytes_twice(self) -> None:
        scripts = []
        for _ in range(2):
            package = Package(header={"name": "</script>"})
            package.header["columns"] = {
                "text": pack_text(
                    package, pd.Series([f"</script>{n} \u2028 é" for n in range(300)])
                ),
                "code": pack_codes(
                    package, pd.Series([f"word {chr(200 + n)}" for n in range(300)])
                ),
            }
            scripts.append(package.to_scripts("a</script>b")["a</script>b"])
        assert scripts[0] == scripts[1]
        assert scripts[0].isascii()
        assert "<" not in scripts[0]
        assert scripts[0].count("\n") == 1
        assert not {"\r", "\0", "\x1a", "\x7f"} & set(scripts[0])
        words = set(PackedFile(scripts[0]).all_words())
        assert {"word È", "word Ā"} <= words
