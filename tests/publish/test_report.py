"""The county report: right numbers, harmless text, one file, the same bytes."""

from __future__ import annotations

import datetime
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.action.worklists import part_lists
from riskmap.contract import quantities as q
from riskmap.contract.features import CHANCE, FAILURE, FEATURES, GROUNDWATER
from riskmap.contract.rules import Rules
from riskmap.contract.vocabulary import FIRST_CLASSES
from riskmap.failure.aging import DEFAULT_AGING
from riskmap.failure.service_life import survival_table
from riskmap.publish.report.pages import Findings, key_facts, write_report
from riskmap.publish.report.quality import defect_counts, missing_records
from riskmap.publish.report.risk import FEW_SYSTEMS, factor_points, neighborhoods, places_section
from riskmap.publish.report.section import Section, Table, number
from riskmap.publish.words.cautions import STAFF_REPORT
from riskmap.publish.words.imprint import Imprint
from riskmap.ranking.model import SCORES, Model
from riskmap.ranking.priority import CHANCES
from riskmap.ranking.table import ranked_table
from riskmap.region.model_file import read_model

VISITS = 25
DAY = datetime.date(2026, 6, 1)
IMPRINT = Imprint("Test County", DAY)
ROWS = 400
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(2)>',
    "{{ 7 * 7 }}{% raw %}",
    "$\\frac{1}{0}$ & <b>",
    "=1+1\u202egnp.exe",
    "]]><svg onload=alert(3)>",
)
VOID = {"meta", "link", "br", "img", "hr", "input"}


@pytest.fixture(scope="module")
def model() -> Model:
    return read_model(None, features=FEATURES)


def make_features(model: Model, *, rows: int = ROWS, seed: int = 3) -> pd.DataFrame:
    draw = np.random.default_rng(seed)
    columns: dict[str, Any] = {
        "address": [f"{100 + k} Elm Street" for k in range(rows)],
        "neighborhood": draw.choice(["Ash", "Birch", "Cedar"], rows, p=[0.6, 0.39, 0.01]),
        "service": draw.choice(
            ["onsite", "sewer", "none", "unknown"], rows, p=[0.7, 0.1, 0.1, 0.1]
        ),
        "service_evidence": draw.choice(["measured", "mapped", "inferred"], rows),
        "kind": draw.choice(["trench", "mound", "bed", None], rows),
        "age_yr": np.where(draw.random(rows) < 0.2, np.nan, draw.uniform(0, 70, rows)),
    }
    columns["age_yr_evidence"] = np.where(
        np.isnan(columns["age_yr"]), "unknown", draw.choice(["measured", "inferred"], rows)
    )
    for factor in model.factors:
        if factor.feature in columns:
            continue
        if factor.table:
            words = [word for word, _ in factor.table]
            columns[factor.feature] = draw.choice([*words, None], rows)
        else:
            low, high = factor.curve[0][0], factor.curve[-1][0]
            values = draw.uniform(low, high, rows)
            columns[factor.feature] = np.where(draw.random(rows) < 0.15, np.nan, values)
    for feature in FEATURES.values():  # what reasons may speak of
        if feature.name not in columns:
            words = [*feature.domain, None]
            drawn = draw.choice(words, rows) if feature.domain else draw.uniform(0, 20, rows)
            columns[feature.name] = drawn
    failed, left = draw.beta(0.5, 2.0, rows), draw.uniform(size=(2, rows))
    chances = (failed, (1 - failed) * left[0], failed + (1 - failed) * left[1])
    columns |= dict(zip(CHANCES, chances, strict=True))
    index = pd.Index([f"P-{k:05d}" for k in range(rows)], name="parcel_id")
    return pd.DataFrame(columns, index=index)


def make_county(features: pd.DataFrame, model: Model) -> gpd.GeoDataFrame:
    table = ranked_table(features, model, units="us")
    owed = table.index[table["rank"].fillna(0).to_numpy(int) % 40 == 3]
    cases = pd.DataFrame({"on_file": "2 complaints", "on_file_year": 2020.0}, owed)
    table = table.join(part_lists(table, cases, visits=VISITS, followup_frac=0.1))
    across = 20
    place = np.arange(len(features))
    x, y = 500_000 + 60.0 * (place % across), 4_800_000 + 60.0 * (place // across)
    lots = shapely.box(x, y, x + 55, y + 55)
    return gpd.GeoDataFrame(features.join(table), geometry=lots, crs="EPSG:32616")


@pytest.fixture(scope="module")
def county(model: Model) -> gpd.GeoDataFrame:
    return make_county(make_features(model), model)


@pytest.fixture(scope="module")
def findings() -> Findings:
    ages = np.array([6.0, 7, 10, 13, 16, 22, 23, 25, 32])
    table = survival_table(ages, [1, 1, 1, 1, 1, 1, 1, 0, 0])
    defects = pd.DataFrame(
        {
            "layer": ["parcels", "parcels", "wells"],
            "column": ["year_built", "year_built", "depth_m"],
            "check": ["impossible_year", "impossible_year", "too_deep"],
            "row": ["1", "2", "3"],
            "value": ["1389", "9999", "1e9"],
            "action": "set to missing",
        }
    )
    section = Section("Doubt", ("Doubt in words.", Table(("Rank", "Chance"), (("1", "<90%>"),))))
    return Findings(
        survival={"trench": table},
        aging=DEFAULT_AGING,
        defects=defects,
        rows_read={"parcels": 400},
        sections=(section,),
        settings={"rules": {"well_setback_m": 30.48, "horizon_yr": 5}, "seed": 1},
    )


def report(
    folder: Path,
    table: gpd.GeoDataFrame,
    model: Model,
    findings: Findings | None = None,
    imprint: Imprint = IMPRINT,
) -> str:
    rules = Rules(well_setback_m=30.48, horizon_yr=5)
    path = write_report(folder, table, imprint, model=model, rules=rules, head=25, visits=VISITS,
                        findings=findings)  # fmt: skip
    assert path == folder / "report" / "index.html"
    return path.read_text("utf-8")


@pytest.fixture(scope="module")
def text(
    tmp_path_factory: pytest.TempPathFactory,
    county: gpd.GeoDataFrame,
    model: Model,
    findings: Findings,
) -> str:
    return report(tmp_path_factory.mktemp("report"), county, model, findings=findings)


class Balance(HTMLParser):
    """Collects tags, and fails where one is closed that is not open."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def parsed(text: str) -> Balance:
    page = Balance()
    page.feed(text)
    page.close()
    assert page.open == []
    return page


class TestPage:
    def test_has_every_part(self, text: str, model: Model) -> None:
        titles = re.findall(r"<section id=[^>]*>\s*<h2>([^<]+)", text)
        assert titles == [
            "How many systems there are",
            "How well they are known",
            "How old they are",
            "Where the risk is",
            "Who is in line",
            "What drives the list",
            "How they age and fail",
            "Groundwater and wells",
            "Doubt",
            "Data quality",
            "What to collect next",
            "Method and sources",
            "Versions and settings",
            "Cautions",
        ]
        assert STAFF_REPORT in text
        assert "&lt;90%&gt;" in text
        assert "Rules, well setback</bdi></td>" in text
        assert "<bdi>100 ft</bdi>" in text
        shown = " ".join(parsed(text).text)
        assert [f.name for f in model.factors if f.source not in shown] == []

    def test_is_one_well_formed_file_without_network(self, text: str) -> None:
        page = parsed(text)
        assert "script" not in page.tags
        links = [value or "" for name, value in page.attributes if name in {"href", "src"}]
        assert {link[:5] for link in links if not link.startswith("#")} == {"data:"}
        ids = [value for name, value in page.attributes if name == "id"]
        assert len(ids) == len(set(ids))
        anchors = {link[1:] for link in links if link.startswith("#")}
        assert anchors <= set(ids)
        assert not re.search(r"url\((?!#)", text)

    def test_names_no_parcel_address_or_owner(
        self, tmp_path: Path, county: gpd.GeoDataFrame, model: Model, findings: Findings
    ) -> None:
        county = county.assign(owner="Zebediah Quux", mail_name="Zebediah Quux")
        text = report(tmp_path, county, model, findings=findings)
        assert "Quux" not in text
        assert "Elm Street" not in text
        assert not re.search(r"P-0\d{4}", text)

    def test_same_bytes_for_same_input(
        self, tmp_path: Path, text: str, county: gpd.GeoDataFrame, model: Model, findings: Findings
    ) -> None:
        assert report(tmp_path, county.copy(), model, findings=findings) == text

    def test_size_stays_small(self, text: str) -> None:
        assert len(text) < 600_000

    def test_hostile_text_stays_text(self, tmp_path: Path, model: Model) -> None:
        nasty = " ".join(HOSTILE)
        features = make_features(model, rows=120)
        features["neighborhood"] = np.resize([*HOSTILE, nasty], len(features))
        features["kind"] = "trench"
        county = make_county(features, model)
        defects = pd.DataFrame(
            {key: [*HOSTILE] for key in ("layer", "column", "check", "row", "value", "action")}
        )
        section = Section(nasty, (nasty, Table((nasty,), ((nasty,),), caption=nasty, note=nasty)))
        aging = {nasty: DEFAULT_AGING["trench"]}
        survival = {nasty: survival_table([5.0, 9.0], [1, 1])}
        hostile = Findings(
            survival, aging, None, defects, {nasty: 1}, (section,), settings={nasty: nasty}
        )
        text = report(
            tmp_path,
            county,
            model,
            findings=hostile,
            imprint=Imprint(nasty, DAY, contact=nasty),
        )
        page = parsed(text)
        assert not {"script", "img", "b"} & set(page.tags)
        assert not [name for name, _ in page.attributes if name.startswith("on")]
        assert "\u202e" not in text
        assert "{{ 7 * 7 }}" in re.findall(r"<h1>(.*?)</h1>", text)[0]

    def test_nobody_ranked(self, tmp_path: Path, model: Model) -> None:
        features = make_features(model, rows=30).assign(service="sewer")
        text = report(tmp_path, make_county(features, model), model)
        parsed(text)
        assert "None of the 30 parcels could be ranked." in text

    @pytest.mark.parametrize("rows", [1, 2, 5])
    def test_tiny_county(self, tmp_path: Path, model: Model, rows: int) -> None:
        features = make_features(model, rows=rows).assign(service="onsite")
        parsed(report(tmp_path, make_county(features, model), model))

    def test_missing_shapes_and_columns(self, tmp_path: Path, model: Model) -> None:
        county = make_county(make_features(model, rows=60), model)
        county = county.drop(columns=["neighborhood", "apart_rank", "not_ranked_reason"])
        county.loc[county.index[:60], "geometry"] = None
        text = report(tmp_path, county, model, imprint=Imprint("Test County", DAY, "si"))
        parsed(text)
        assert 'id="county-map"' not in text

    def test_new_columns_are_shown_and_absent_ones_are_not_spoken_of(
        self, tmp_path: Path, county: gpd.GeoDataFrame, model: Model
    ) -> None:
        later = [feature.name for feature in (*FAILURE, *CHANCE, *GROUNDWATER)]
        county = county.drop(columns=[name for name in later if name in county])
        plain = report(tmp_path, county, model)
        assert "Likely state of the field" not in plain
        assert "expected to fail" not in plain
        more = county.assign(
            chance_failing_frac=0.25,
            stage="stressed",
            ponding_m=0.254,
            nitrogen_kg_yr=2.0,
            wells_reached=1.0,
        )
        text = report(tmp_path, more, model)
        systems = int(more["rank"].notna().sum())
        assert (
            f"about {number(systems * 0.25)} are expected to fail within the next 5 years" in text
        )
        assert "Likely state of the field, by the model" in text
        assert f"from {systems:,} systems (100%) reaches at least one well" in text
        assert f"about {q.text(2.0 * systems, q.MASS_RATE, 'us')} of nitrogen" in text
        assert ">10</bdi>" in text  # 0.254 m of ponding is ten inches


class TestNumbers:
    def test_points_add_up_to_the_scores_by_their_shares(
        self, county: gpd.GeoDataFrame, model: Model
    ) -> None:
        points = factor_points(county, model)
        rows = county.loc[points.index]
        scores = sum(model.share(kind) * rows[f"{kind}_score"] for kind in SCORES)
        np.testing.assert_allclose(points.sum(axis=1), scores, atol=2e-3)

    def test_neighborhoods_by_enumeration(self, county: gpd.GeoDataFrame) -> None:
        systems = county[county["rank"].notna()]
        found = neighborhoods(systems, top=50)
        for name, row in found.iterrows():
            these = [p for p in systems.index if systems.loc[p, "neighborhood"] == name]
            upper = [p for p in these if systems.loc[p, "priority_class"] in FIRST_CLASSES]
            assert row["systems"] == len(these)
            assert row["upper"] == len(upper)
            assert row["head"] == sum(systems.loc[p, "rank"] <= 50 for p in these)
        assert found["systems"].sum() == len(systems)

    def test_few_systems_get_no_share(self, county: gpd.GeoDataFrame) -> None:
        section = places_section(county, units="us", top=20, layers=None)
        table = next(block for block in section.blocks if isinstance(block, Table))
        few = [row for row in table.rows if int(str(row[1])) < FEW_SYSTEMS]
        assert few
        assert all(row[3] == row[4] == "few systems" for row in few)

    def test_missing_records_by_enumeration(self, county: gpd.GeoDataFrame, model: Model) -> None:
        systems = county[county["rank"].notna()]
        found = missing_records(county, model, top=25)
        for feature in ("age_yr", "kind", "lot_m2"):
            missing = systems[feature].isna()
            assert found.loc[feature, "all"] == missing.sum()
            assert found.loc[feature, "head"] == missing[systems["rank"] <= 25].sum()
        whole = {f.name: f.weight * model.scale(f.score) * model.share(f.score)
                 for f in model.factors}  # fmt: skip
        tells = {"age_yr", "reserve_frac", "chance_failing_frac"}  # what hangs on the age
        expected = sum(whole[f.name] for f in model.factors if f.feature in tells)
        assert found.loc["age_yr", "weight"] == pytest.approx(expected)
        assert not {f.name for f in (*FAILURE, *CHANCE, *GROUNDWATER)} & set(found.index)

    def test_defects_are_counted(self, findings: Findings) -> None:
        counts = defect_counts(findings.defects)
        assert counts["count"].tolist() == [2, 1]
        assert counts["layer"].tolist() == ["parcels", "wells"]

    def test_key_facts_agree_with_the_table(self, county: gpd.GeoDataFrame, model: Model) -> None:
        facts = " ".join(key_facts(county, model, units="us", top=25))
        systems = county[county["rank"].notna()]
        assert f"{len(systems):,} onsite systems of {len(county):,} parcels are ranked." in facts
        assert f"{(systems['worklist'] == 'on file').sum():,} systems are on file" in facts
        first = systems[systems["priority_class"] == "highest"]
        assert f"Of the {len(first):,} that a season reaches first" in facts
        assert f"about {first['chance_failed_frac'].sum():,.0f} are expected" in facts


@pytest.mark.browser
def test_opens_and_prints_without_overflow(tmp_path: Path, text: str, browser: Any) -> None:
    page = tmp_path / "index.html"
    page.write_text(text, encoding="utf-8")
    browser.get(page.as_uri())
    for width in (390, 1360):
        browser.set_window_size(width, 900)
        wide = "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
        assert browser.execute_script(wide) <= 0
    errors = [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]
    assert errors == []
    for width, height in ((8.5, 11.0), (8.27, 11.69)):
        sheet = {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": True}
        assert len(browser.execute_cdp_cmd("Page.printToPDF", sheet)["data"]) > 50_000
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    browser.set_window_size(680, 900)  # the width of the text on letter paper
    overflow = """
      const room = document.querySelector('main').getBoundingClientRect().right + 1;
      return [...document.querySelectorAll('main td, main th, main svg')]
        .filter(e => e.getBoundingClientRect().right > room).length
    """
    assert browser.execute_script(overflow) == 0
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    browser.set_window_size(1360, 900)
