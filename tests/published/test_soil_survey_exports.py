"""Real survey areas as distributed: the published ratings, and the known traps.

Source: USDA-NRCS, soil survey (SSURGO) exports of ten survey areas in Iowa, Arkansas, Missouri and
Texas, US public domain. They lie beside the project and are never part of it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from data_pipelines.soil_survey import SoilSurvey, read_soil_survey
from data_pipelines.soil_survey.domains import DRAINAGE, GROUPS, canonical_words
from data_pipelines.soil_survey.tables import read_export
from riskmap.contract.check import check_layer
from riskmap.contract.layers import LAYERS
from riskmap.inventory.soil_aggregate import rate_mapunits
from riskmap.inventory.soil_classic import CLASSIC_CLASSES, classic_limits
from riskmap.inventory.soil_limits import rate_components
from riskmap.inventory.soil_rule import LIMIT_COLUMNS, RULE_NAME, SUB_RULES
from riskmap.inventory.soils import describe_soils

AREAS = {
    "ia073_area": 5,
    "ar017_county": 41,
    "tabular_only/AR003": 37,
    "tabular_only/AR021": 30,
    "tabular_only/AR043": 45,
    "tabular_only/AR093": 34,
    "tabular_only/MO143": 91,
    "tabular_only/MO201": 90,
    "tabular_only/TX039": 46,
    "tabular_only/TX481": 44,
}
"""Survey area and its number of map units, all of which carry a published class."""

KNOWN_DIFFERENCES: dict[str, set[str]] = {area: set() for area in AREAS}
"""Map unit symbols whose published class we do not reach, by area: none in these ten."""


@pytest.fixture(scope="module")
def exports(shared_data: Path) -> Path:
    return shared_data / "soil_survey"


@cache
def _survey(folder: Path) -> SoilSurvey:
    return read_soil_survey([folder])


def _rated(survey: SoilSurvey) -> pd.DataFrame:
    return rate_components(
        survey.soil_components, survey.soil_horizons, survey.soil_restrictions, survey.soil_months
    )


class TestPublishedComponentRatings:
    """``cointerp`` of the Iowa area: 17 components, 36 limiting factors; tolerance 0.002."""

    @pytest.fixture
    def published(self, exports: Path) -> pd.DataFrame:
        table = _survey(exports / "ia073_area").soil_interpretations
        return table[table["rule"] == RULE_NAME]

    def test_ratings_and_classes(self, exports: Path, published: pd.DataFrame) -> None:
        rated = _rated(_survey(exports / "ia073_area"))
        overall = published[published["rule_depth"] == 0].set_index("cokey").loc[rated.index]
        assert len(overall) == 17
        np.testing.assert_allclose(rated["rating"], overall["rating"], atol=0.002)
        assert rated["rating_class"].tolist() == overall["class"].tolist()

    def test_every_factor(self, exports: Path, published: pd.DataFrame) -> None:
        """Only limiting factors are stored: a factor without a row is 0."""
        rated = _rated(_survey(exports / "ia073_area"))
        factors = published[published["rule_depth"] > 0]
        assert len(factors) == 36
        columns = {sub.source_name: sub.column for sub in SUB_RULES}
        table = factors.assign(column=factors["factor"].map(columns)).pivot(
            index="cokey", columns="column", values="rating"
        )
        table = table.reindex(index=rated.index, columns=list(LIMIT_COLUMNS)).fillna(0.0)
        np.testing.assert_allclose(rated[list(LIMIT_COLUMNS)], table, atol=0.002)

    def test_all_reasons(self, exports: Path, published: pd.DataFrame) -> None:
        rated = _rated(_survey(exports / "ia073_area"))
        words = {sub.source_name: sub.reason for sub in SUB_RULES}
        factors = published[published["rule_depth"] > 0]
        reasons = factors["factor"].map(words).groupby(factors["cokey"]).agg(set)
        ours = rated["reasons"].map(lambda text: set(text.split("; ")))
        assert ours.to_dict() == reasons.to_dict()


class TestPublishedMapunitClasses:
    """``muaggatt`` of all areas: dominant condition, least and most limiting class."""

    @pytest.mark.parametrize("area", AREAS)
    def test_dominant_condition(self, exports: Path, area: str) -> None:
        units, summed = self._units(exports / area)
        assert len(units) == AREAS[area]
        differs = units["published_class"] != summed["condition_class"]
        assert set(units.loc[differs, "musym"]) == KNOWN_DIFFERENCES[area]
        assert differs.mean() <= 0.01

    @pytest.mark.parametrize("area", AREAS)
    def test_extremes(self, exports: Path, area: str) -> None:
        """Unrated components make an extreme uncertain; the survey counts them in the same way."""
        units, summed = self._units(exports / area)
        assert units["published_class_least"].tolist() == summed["least_class"].tolist()
        assert units["published_class_most"].tolist() == summed["most_class"].tolist()

    def _units(self, folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
        survey = _survey(folder)
        units = survey.soil_mapunits.set_index("mukey")
        assert units["published_class"].notna().all()
        return units, rate_mapunits(_rated(survey)).reindex(units.index)

    def test_slow_layers_below_a_change_of_texture_count(self, exports: Path) -> None:
        """33 restrictions of the two Missouri areas are "strongly contrasting" textures.

        Below three of them lie layers of 0.2 um/s.
        """
        survey = _survey(exports / "tabular_only" / "MO201")
        kinds = survey.soil_restrictions.set_index("cokey")["kind"]
        changed = kinds.index[kinds == "strongly contrasting textural stratification"]
        assert len(changed) == 21
        rated = _rated(survey).loc[changed]
        assert rated["ksat_min_um_s"].eq(0.2).sum() == 3
        assert rated["restriction_cm"].isna().all()

    def test_urban_land_without_soil_data_is_not_rated(self, exports: Path) -> None:
        """Bernard-Urban land complex is published as not rated, though it has numbers."""
        survey = _survey(exports / "tabular_only" / "TX039")
        components = survey.soil_components.set_index("cokey")
        urban = components.index[components["compname"] == "Urban land"]
        assert len(urban) == 5
        assert _rated(survey).loc[urban, "rating"].isna().all()


class TestPublishedWords:
    """``muaggatt`` of all areas: drainage class and hydrologic group, dominant condition.

    Map units of which the survey publishes none (water, borrow areas, urban land) have none here.
    """

    @pytest.mark.parametrize("area", AREAS)
    def test_drainage_and_group_of_every_map_unit(self, exports: Path, area: str) -> None:
        survey = _survey(exports / area)
        published = _published_words(exports / area).reindex(survey.soil_mapunits["mukey"])
        boxes = shapely.box(np.arange(len(published)), 0, np.arange(len(published)) + 1, 1)
        units = gpd.GeoDataFrame({"mukey": published.index}, geometry=boxes)
        rated = _rated(survey).assign(rating=lambda table: table["rating"].fillna(0.0))
        found, _ = describe_soils(units.set_index("mukey").geometry, units, rated)
        assert len(found) == AREAS[area]
        for column in published:
            ours = found[column].astype("string")
            assert ours.fillna("none").tolist() == published[column].fillna("none").tolist()

    def test_some_map_units_have_none(self, exports: Path) -> None:
        words = pd.concat([_published_words(exports / area) for area in AREAS])
        assert len(words) == 463
        assert words.isna().sum().to_dict() == {"drainage_class": 25, "hydrologic_group": 18}


def _published_words(area: Path) -> pd.DataFrame:
    """Published drainage class and hydrologic group by map unit key."""
    table = read_export(next(area.rglob("mstab.txt")).parent).tables["muaggatt"]
    columns = {
        name: canonical_words(table[source], domain, layer="", column="", rows=table["mukey"])[0]
        for name, source, domain in (
            ("drainage_class", "drclassdcd", DRAINAGE),
            ("hydrologic_group", "hydgrpdcd", GROUPS),
        )
    }
    return pd.DataFrame(columns).set_axis(table["mukey"].to_numpy(), axis=0)


class TestAgainstTheClassicTable:
    """Two independent public rules on the same components: same direction, never opposite."""

    def test_never_opposite(self, exports: Path) -> None:
        rated = pd.concat([_rated(_survey(exports / area)) for area in AREAS])
        rated = rated[rated["rating"].notna()]
        classic = classic_limits(rated)["classic_class"].map(
            {name: rank for rank, name in enumerate(CLASSIC_CLASSES)}
        )
        # the classic table has no seepage rule, so leave that sub-rule out of the comparison
        columns = [name for name in LIMIT_COLUMNS if name != "limit_seepage"]
        rating = rated[columns].max(axis=1)
        assert len(rated) > 500
        assert not ((classic == 2) & (rating == 0)).any()
        assert not ((classic == 0) & (rating == 1)).any()
        assert np.corrcoef(classic, rating)[0, 1] > 0.7


class TestTraps:
    """The traps of the real files."""

    @pytest.mark.parametrize("area", AREAS)
    def test_every_area_keeps_the_contract(self, exports: Path, area: str) -> None:
        survey = _survey(exports / area)
        for name, layer in LAYERS.items():
            frame = getattr(survey, name, None)
            if name.startswith("soil_") and frame is not None:
                assert check_layer(frame, layer, crs=CRS("EPSG:4326")).empty
        harmless = {"table absent", "shape invalid", "no horizons", "no months"}
        assert set(survey.defects["check"]) <= harmless
        assert survey.soil_components["gaps"].isna().all()

    def test_1_names_come_from_the_metadata(self, exports: Path) -> None:
        survey = _survey(exports / "ia073_area")
        assert len(survey.soil_components) == 17
        assert len(survey.soil_horizons) == 67
        assert survey.soil_horizons["ksat_um_s"].between(0.01, 200).all()

    def test_2_zero_byte_tables(self, exports: Path) -> None:
        assert (exports / "ia073_area" / "tabular" / "crstrcts.txt").stat().st_size == 0
        assert _survey(exports / "ia073_area").soil_restrictions.empty

    def test_3_doubled_quotes(self, exports: Path) -> None:
        text = (exports / "ia073_area" / "tabular" / "cinterp.txt").read_text(encoding="utf-8")
        assert 'Percolation 60 - 180cm (24-72"")' in text
        factors = _survey(exports / "ia073_area").soil_interpretations["factor"]
        assert factors.eq('Percolation 60 - 180cm (24-72")').sum() == 17

    def test_4_trailing_blanks_and_text_keys(self, exports: Path) -> None:
        text = (exports / "ar017_county" / "tabular" / "comp.txt").read_text(encoding="utf-8")
        assert "|No |" in text
        survey = _survey(exports / "ar017_county")
        assert survey.soil_components["major"].isna().sum() == 0
        assert survey.soil_components["major"].sum() == text.count("|Yes|") == 49
        assert survey.soil_units is not None
        assert set(survey.soil_units["mukey"]) == set(survey.soil_components["mukey"])

    def test_5_other_rules_are_left_out(self, exports: Path) -> None:
        table = _survey(exports / "ia073_area").soil_interpretations
        assert len(table) == 53
        assert set(table["rule"]) == {RULE_NAME}

    def test_6_an_invalid_polygon(self, exports: Path) -> None:
        survey = _survey(exports / "ar017_county")
        assert survey.soil_units is not None
        assert len(survey.soil_units) == 2546
        assert survey.soil_units.geometry.is_valid.all()
        assert survey.soil_units.crs == CRS("EPSG:4326")
        area_km2 = survey.soil_units.to_crs("EPSG:5070").area.sum() / 1e6
        assert area_km2 == pytest.approx(1791, abs=1)
        repaired = survey.defects[survey.defects["check"] == "shape invalid"]
        assert len(repaired) == 1

    def test_all_areas_merge(self, exports: Path) -> None:
        survey = read_soil_survey([exports / area for area in AREAS])
        assert len(survey.soil_mapunits) == sum(AREAS.values()) == 463
        assert survey.soil_mapunits["area_symbol"].nunique() == 10
        assert survey.soil_units is not None
        assert len(survey.soil_units) == 2546 + 13
        assert survey.soil_components["cokey"].is_unique
