"""The public folder: what it shows, and what nobody can get out of it."""

from __future__ import annotations

import base64
import csv
import gzip
import io
import json
import re
import tomllib
import zlib
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scipy.optimize import linprog

from riskmap.action.aggregate import AGES, RISK, TOTAL, age_groups, risk_groups
from riskmap.publish.palette import TEXT_PAIRS, contrast
from riskmap.publish.public.edition import write_public_edition
from riskmap.publish.public.pages import LABELS, page_file, public_csv, table_rows
from riskmap.publish.public.summary import FILES
from riskmap.publish.public.table import OLD_SHARE, SHARE, make_public_table
from riskmap.publish.words.class_words import SHARE_COLORS, SHARE_ENDS
from riskmap.publish.words.imprint import Imprint

PRIVATE = ("owner", "mail_name", "mail_address", "mail_city", "mail_zip", "notes", "permit_id")


@pytest.fixture
def parcels(public_county: Any) -> gpd.GeoDataFrame:
    return public_county.parcels


def truth(parcels: gpd.GeoDataFrame, areas: gpd.GeoDataFrame) -> pd.DataFrame:
    """Counts by the published outlines, by geopandas and pandas alone."""
    onsite = parcels[parcels["service"] == "onsite"]
    spots = gpd.GeoDataFrame(
        {"risk": risk_groups(onsite["priority_class"]), "age": age_groups(onsite["age_yr"])},
        geometry=onsite.representative_point().to_crs(4326),
    )
    joined = gpd.sjoin(spots, areas, predicate="within")
    table = pd.DataFrame(index=areas["name"])
    table[TOTAL] = joined["name"].value_counts()
    for column, groups in (("risk", RISK), ("age", AGES)):
        counts = pd.crosstab(joined["name"], joined[column])
        for group in groups:
            table[group] = counts.get(group, 0)
    return table.fillna(0).astype(int)


def read_csv(public: Path) -> pd.DataFrame:
    text = (public / "areas.csv").read_bytes().decode("utf-8")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    return pd.DataFrame(rows).set_index("area")


def read_map(public: Path) -> tuple[dict[str, Any], gpd.GeoDataFrame]:
    """Return the plan and the outlines, as anyone can read them out of the page."""
    page = (public / "map.html").read_text(encoding="utf-8")
    start = page.index("publicMap.start(")
    plan, _ = json.JSONDecoder().raw_decode(page, page.index("{", start))
    place = page.index("geo_json_areas_add({")
    shapes, _ = json.JSONDecoder().raw_decode(page, page.index("{", place))
    areas = gpd.GeoDataFrame(
        {"name": [plan["areas"][f["id"]]["name"] for f in shapes["features"]]},
        geometry=[shapely.geometry.shape(f["geometry"]) for f in shapes["features"]],
        crs=4326,
    )
    return plan, areas


def known_numbers(public: Path) -> pd.DataFrame:
    """Everything the folder says about each area and the county, from all of its files."""
    table = read_csv(public)
    found = table.apply(lambda column: pd.to_numeric(column, errors="coerce"))
    plan, _ = read_map(public)
    for area in plan["areas"]:
        for column, value in area["values"].items():
            if value is not None:
                assert found.loc[area["name"], column] == value
            else:
                assert table.loc[area["name"], column] == "withheld"
    labels = {label: name for name, label in LABELS.items()}
    page = (public / "table.html").read_text(encoding="utf-8")
    heads = [labels[t] for t in re.findall(r'<th scope="col" class="number">([^<]*)</th>', page)]
    for row in re.findall(r'<tr[^>]*><th scope="row">([^<]*)</th>(.*?)</tr>', page):
        for column, text in zip(heads, re.findall(r"<td[^>]*>([^<]*)</td>", row[1]), strict=True):
            number = re.sub(r"[ ,%]", "", text)
            if number.isdigit():
                assert found.loc[row[0], column] == int(number)
            else:
                assert np.isnan(found.loc[row[0], column])
    index = (public / "index.html").read_text(encoding="utf-8")
    for label, text in re.findall(
        r'<th scope="row">([^<]*)</th><td class="number">([^<]*)</td>', index
    ):
        number = re.sub(r"[ ,%]", "", text)
        if number.isdigit():
            assert found.loc["Whole county", labels[label]] == int(number)
    return found


class TestAgainstOtherSoftware:
    def test_shown_counts_are_those_of_a_spatial_join(
        self, public: Path, parcels: gpd.GeoDataFrame
    ) -> None:
        found = known_numbers(public)
        _, areas = read_map(public)
        counts = truth(parcels, areas)
        assert counts[TOTAL].sum() == (parcels["service"] == "onsite").sum()
        columns = [name for name in counts if name in found]
        shown = found.loc[counts.index, columns]
        matches = shown.isna() | (shown == counts[columns])
        assert matches.to_numpy().all()
        assert shown[TOTAL].notna().any()
        small = (counts[columns] >= 1) & (counts[columns] <= 10)
        assert small.to_numpy().any()
        assert shown.isna().to_numpy()[small.to_numpy()].all()
        assert (found.loc["Whole county", columns] == counts[columns].sum()).all()

    def test_no_small_count_follows_from_all_that_is_published(
        self, public: Path, parcels: gpd.GeoDataFrame
    ) -> None:
        """Every number of every file as an equation or, a rounded percentage, as two bounds."""
        found = known_numbers(public)
        _, areas = read_map(public)
        counts = truth(parcels, areas)
        columns = [name for name in (TOTAL, *RISK, *AGES) if name in found]
        names = list(counts.index)
        attack = Attack(found, names, columns)
        hidden = [
            (name, column)
            for name in names
            for column in columns
            if np.isnan(found.loc[name, column]) and counts.loc[name, column] > 0
        ]
        assert len(hidden) > 30
        for name, column in hidden[:: max(1, len(hidden) // 60)]:
            low, high = attack.range_of(name, column)
            assert high - low >= 9
            if counts.loc[name, column] <= 10:
                assert low <= 1
                assert high >= 10

    def test_the_attack_succeeds_where_a_partner_is_shown(
        self, public: Path, parcels: gpd.GeoDataFrame
    ) -> None:
        """Held against itself: give back all but one count, and the attack finds it."""
        found = known_numbers(public)
        _, areas = read_map(public)
        counts = truth(parcels, areas)
        columns = [name for name in (TOTAL, *RISK, *AGES) if name in found]
        leaky = found.copy()
        leaky.loc[counts.index, columns] = counts[columns].astype(float)
        name = counts.index[counts["raised"].between(1, 10)][0]
        leaky.loc[name, "raised"] = np.nan
        low, high = Attack(leaky, list(counts.index), columns).range_of(name, "raised")
        assert low == high == counts.loc[name, "raised"]


class Attack:
    """All tables of counts that agree with what is published, by linear programming."""

    def __init__(self, found: pd.DataFrame, names: list[str], columns: list[str]) -> None:
        self.place = {
            cell: number for number, cell in enumerate((n, c) for n in names for c in columns)
        }
        self.equal: list[tuple[dict[tuple[str, str], float], float]] = []
        self.below: list[tuple[dict[tuple[str, str], float], float]] = []
        for name in names:
            for group in (RISK, AGES):
                parts = {(name, c): 1.0 for c in group if c in columns}
                self.equal.append(({**parts, (name, TOTAL): -1.0}, 0.0))
            for column in columns:
                if not np.isnan(found.loc[name, column]):
                    self.equal.append(({(name, column): 1.0}, found.loc[name, column]))
            self._percent(found, name, SHARE, ["raised"], ["raised", "not_raised"])
            self._percent(found, name, OLD_SHARE, ["age_40_or_more"], list(AGES[:3]))
        for column in columns:
            whole = found.loc["Whole county", column]
            if not np.isnan(whole):
                self.equal.append(({(n, column): 1.0 for n in names}, whole))

    def _percent(
        self, found: pd.DataFrame, name: str, share: str, over: list[str], under: list[str]
    ) -> None:
        percent = found.loc[name, share] if share in found else np.nan
        if np.isnan(percent):
            return
        for sign in (1.0, -1.0):
            edge = (percent + sign * 0.5) / 100
            row = {(name, c): -sign * edge for c in under}
            for column in over:
                row[name, column] += sign
            self.below.append((row, 0.0))

    def range_of(self, name: str, column: str) -> tuple[int, int]:
        ends = []
        for sign in (1, -1):
            aim = np.zeros(len(self.place))
            aim[self.place[name, column]] = sign
            sides = {}
            for kind, rows in (("eq", self.equal), ("ub", self.below)):
                matrix = np.zeros((len(rows), len(self.place)))
                for number, (row, _) in enumerate(rows):
                    for cell, factor in row.items():
                        matrix[number, self.place[cell]] = factor
                sides[f"A_{kind}"] = matrix if len(rows) else None
                sides[f"b_{kind}"] = [side for _, side in rows] if len(rows) else None
            result = linprog(aim, **sides, method="highs")
            assert result.status == 0
            ends.append(round(sign * result.fun))
        return ends[0], ends[1]


class TestPrivacy:
    def test_no_private_string_is_anywhere(
        self, public: Path, parcels: gpd.GeoDataFrame, public_county: Any
    ) -> None:
        layers = public_county.layers
        strings = {str(name) for name in parcels.index}
        for column in (*PRIVATE, "address", "neighborhood"):
            strings |= set(parcels[column].astype(str))
        strings |= set(layers["wells"]["well_id"].astype(str))
        coordinates = shapely.get_coordinates(parcels.geometry.to_crs(4326).values)
        strings |= {f"{x:.5f},{y:.5f}" for x, y in coordinates}
        strings |= {f"{x:.5f}, {y:.5f}" for x, y in coordinates}
        assert len(strings) > 9000
        text = "\n".join(_readable(path) for path in _files(public)).lower()
        words = set(re.findall(r"[\w.,/-]+", text))
        for string in strings:
            assert string.lower() not in (words if " " not in string else text)

    def test_columns_are_counts_and_shares_only(self, public: Path) -> None:
        assert set(read_csv(public).columns) <= {"longitude", "latitude", *LABELS}

    def test_the_outlines_say_nothing_of_lots(self, public: Path, made: ModuleType) -> None:
        _, areas = read_map(public)
        size = areas.to_crs(made.REGION_CRS).area
        assert np.allclose(size, np.sqrt(3) / 2 * 800**2, rtol=1e-2)

    def test_percentages_of_withheld_counts_are_withheld(self, public: Path) -> None:
        table = read_csv(public)
        gone = (table[["raised", "not_raised"]] == "withheld").any(axis=1)
        assert gone.any()
        assert (table.loc[gone, SHARE] == "withheld").all()

    def test_area_of_one_class_alone_is_withheld(self, parcels: gpd.GeoDataFrame) -> None:
        every = parcels.copy()
        every["priority_class"] = np.where(every["service"] == "onsite", "high", "not ranked")
        table = make_public_table(every, crs=every.crs, threshold=10, cell_m=800.0)
        some = table.counts[table.counts[TOTAL].fillna(0) > 0]
        assert some["raised"].isna().all()

    def test_another_threshold(
        self, tmp_path: Path, parcels: gpd.GeoDataFrame, public_county: Any
    ) -> None:
        public = public_county.write(tmp_path, threshold=5)
        _, areas = read_map(public)
        counts = truth(parcels, areas)[TOTAL]
        shown = pd.to_numeric(read_csv(public)[TOTAL], errors="coerce")[counts.index]
        assert shown[counts.between(1, 5)].isna().all()
        assert "from 1 to 5" in (public / "table.html").read_text(encoding="utf-8")


def _files(public: Path) -> list[Path]:
    return [path for path in sorted(public.rglob("*")) if path.is_file()]


def _readable(path: Path) -> str:
    """Text of a file, and of all that is packed in it."""
    content = path.read_bytes()
    texts = [content.decode("utf-8", errors="ignore")]
    for packed in re.findall(rb"[A-Za-z0-9+/]{40,}={0,2}", content):
        try:
            raw = base64.b64decode(packed, validate=True)
        except ValueError:
            continue
        texts.append(raw.decode("latin-1"))
        for unpack in (gzip.decompress, zlib.decompress):
            try:
                texts.append(unpack(raw).decode("utf-8", errors="ignore"))
            except (OSError, zlib.error, EOFError):
                continue
    return "\n".join(texts)


class TestSummary:
    """It gives nothing that the tables do not, so the attack above holds for all files together."""

    @pytest.mark.parametrize(
        ("name", "most"), [("summary.html", "or more"), ("resumen.html", "o más")]
    )
    def test_every_number_is_published_elsewhere(self, public: Path, name: str, most: str) -> None:
        found = known_numbers(public)
        page = (public / name).read_text(encoding="utf-8")
        rows = re.findall(r'<tr><th scope="row">([^<]*)</th>(.*?)</tr>', page)
        assert 1 <= len(rows) <= 6
        for area, cells in rows:
            numbers = [int(n.replace(",", "")) for n in re.findall(r"<td[^>]*>([^<]*)</td>", cells)]
            assert numbers == [found.loc[area, TOTAL], found.loc[area, "raised"]]
        figures = re.findall(r"<dd>([\d,]+)(%?)</dd>", page)
        whole = found.loc["Whole county"].dropna()
        assert {int(n.replace(",", "")) for n, _ in figures} <= {*whole.astype(int)}
        assert f"60% {most}" in page

    def test_an_area_has_the_color_of_its_share_or_is_hatched(self, public: Path) -> None:
        page = (public / "summary.html").read_text(encoding="utf-8")
        table = read_csv(public).drop(index="Whole county")
        fills = re.findall(r'<path d="[^"]+" fill="([^"]+)"', page)
        assert len(fills) == len(table)
        for fill, (_, line) in zip(fills, table.iterrows(), strict=True):
            if line[TOTAL] == "withheld" or line[SHARE] == "withheld":
                assert fill == "url(#withheld)"
            elif line[SHARE]:
                band = sum(int(line[SHARE]) > end for end in SHARE_ENDS)
                assert fill == SHARE_COLORS[band]

    def test_both_languages_have_the_same_parts(self) -> None:
        english, spanish = (
            tomllib.loads(page_file(f"summary_{language}.toml")) for language in FILES
        )
        assert _shape(english) == _shape(spanish)

    def test_a_county_that_shows_nothing(self, tmp_path: Path, parcels: gpd.GeoDataFrame) -> None:
        write_public_edition(tmp_path, parcels.head(8), Imprint("Nowhere", date(2026, 5, 1)))
        page = (tmp_path / "public" / "summary.html").read_text(encoding="utf-8")
        assert "many lots have a septic system" in page
        assert "Numbers of single areas are withheld." in page


def _shape(words: Any) -> Any:
    if isinstance(words, dict):
        return {name: _shape(value) for name, value in words.items()}
    return [_shape(value) for value in words] if isinstance(words, list) else ""


class TestPages:
    def test_same_input_same_bytes(self, public: Path, tmp_path: Path, public_county: Any) -> None:
        layers = public_county.layers
        again = public_county.write(tmp_path, contact=public_county.contact, layers=layers)
        first = {p.relative_to(public): p.read_bytes() for p in _files(public)}
        second = {p.relative_to(again): p.read_bytes() for p in _files(again)}
        assert first == second

    def test_words_that_must_be_there(self, public: Path) -> None:
        text = (public / "index.html").read_text(encoding="utf-8")
        for words in (
            "Only a site visit and a laboratory sample can",
            "licensed professional",
            "every three years",
            "Boiling kills germs but does not take out nitrate",
            "555-0100",
            "Local code",
            "from 1 to 10",
        ):
            assert words in " ".join(text.split())

    def test_nothing_is_fetched_from_elsewhere(self, public: Path) -> None:
        for path in public.glob("*.html"):
            text = path.read_text(encoding="utf-8")
            assert not re.findall(r'(?:src|href)="(?:https?:)?//', text)

    def test_colors_reach_the_contrast_of_the_guidelines(self) -> None:
        assert all(contrast(*pair) >= 4.5 for pair in TEXT_PAIRS)

    def test_given_blocks_with_nasty_names(self, tmp_path: Path, public_county: Any) -> None:
        blocks, name = public_county.blocks(), public_county.nasty[0]
        public = public_county.write(tmp_path, areas=blocks, county=name)
        rows = list(csv.reader((public / "areas.csv").read_text("utf-8").splitlines()))
        assert {len(row) for row in rows} == {len(rows[0])}
        assert all(cell[:1] not in "=@+\t" for row in rows for cell in row if cell)
        page = (public / "map.html").read_text(encoding="utf-8")
        assert "<script>window" not in page
        assert "<img src=x" not in page
        assert "Not on the map" in (public / "table.html").read_text(encoding="utf-8")

    def test_repeated_and_empty_names_are_made_different(
        self, parcels: gpd.GeoDataFrame, public_county: Any
    ) -> None:
        blocks = public_county.blocks().assign(name=["Elm", "Elm", "", None, "Whole county", "Oak"])
        table = make_public_table(parcels, crs=parcels.crs, threshold=10, areas=blocks)
        assert table.counts.index.is_unique
        assert "Whole county" not in table.counts.index

    def test_a_county_without_systems(self, parcels: gpd.GeoDataFrame) -> None:
        none = parcels.assign(service="sewer")
        table = make_public_table(none, crs=none.crs, threshold=10)
        assert (table.counts[TOTAL] == 0).all()
        assert "Whole county,,,0,0,0,," in public_csv(table)
        assert table_rows(table)[0][4] == "–"
