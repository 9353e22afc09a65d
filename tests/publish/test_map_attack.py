"""Texts that try to run as script or formula do no harm on the map, and no owner is on it."""

from __future__ import annotations

import csv
import datetime
import io
import re
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pandas as pd
import pytest

from riskmap.publish.map.webmap import write_map
from riskmap.publish.words.imprint import Imprint
from tests.publish.map_reading import PackedFile

pytestmark = pytest.mark.browser

NASTY = (
    "</script><script>window.hurt=1</script>",
    '"><img src=x onerror="window.hurt=1">',
    '=HYPERLINK("http://example.invalid","x")',
    "@SUM(1+1)|cmd",
    "12 Elm \u202e\u2066enaL",
    "{{ 7*7 }}{% raw %}{% endraw %}{%endraw%}",
    'O\'Brien; "q", \\ \r\n next\x00\x07',
    "\u2028\u2029 <!-- ]]>",
    "${window.hurt=1}`+`",
)
TEXTS = ("address", "neighborhood", "kind", "reason_1", "unknown", "not_ranked_reason")


def _cycled(count: int) -> list[str]:
    return [NASTY[i % len(NASTY)] for i in range(count)]


@pytest.fixture
def attacked(tmp_path: Path, made: ModuleType, made_full: ModuleType, map_page: Any) -> Any:
    base = made.make_ranked(200)
    full = made_full.make_full(base, made.make_layers(base))
    table = full.ranked.copy()
    ids = dict(zip(table.index, [f"{t}{i}" for i, t in enumerate(NASTY)], strict=False))
    table.index = pd.Index([ids.get(name, name) for name in table.index], name="parcel_id")
    for name in TEXTS:
        table[name] = table[name].astype(object)
        table.iloc[: len(NASTY), table.columns.get_loc(name)] = NASTY
    table["notes"] = _cycled(len(table))
    table["owner"] = "SECRETOWNER"
    layers = dict(full.layers)
    wells = layers["wells"].assign(well_id=_cycled(len(layers["wells"])))
    wells["well_unknowns"] = _cycled(len(wells))
    names = dict(zip(full.layers["wells"]["well_id"], wells["well_id"], strict=True))
    zones = layers["zones"].assign(zone_id=list(NASTY[:4]), why=list(NASTY[1:5]))
    pairs = full.pairs.assign(
        parcel_id=full.pairs["parcel_id"].replace(ids), well_id=full.pairs["well_id"].map(names)
    )
    odd = {"<img src=x onerror=window.hurt=1>": layers["streams"], "wells": wells, "zones": zones}
    labels = [replace(factor, label=NASTY[0]) for factor in full.model.factors[:2]]
    write_map(
        tmp_path,
        table,
        Imprint(
            "Example </title><script>window.hurt=1</script>{{ 7*7 }}{% endraw %} County",
            datetime.date(2025, 6, 30),
        ),
        model=replace(full.map_model, factors=[*labels, *full.model.factors[2:]]),
        layers=layers | odd,
        cautions=("Take <b>care</b></script>",),
        threats=pairs,
        top=20,
    )
    map_page.open(tmp_path)
    map_page.read_details()
    return map_page


class TestAttack:
    def test_no_text_runs_as_script_or_formula(self, attacked: Any) -> None:
        attacked.run("document.querySelector('[data-layer=zones]').click()")
        ids = attacked.run("return county.facts.parcel_id.lines()")
        nasty = [row for row, name in enumerate(ids) if not re.fullmatch(r"[0-9-]{10}", name)]
        assert len(nasty) == len(NASTY)
        for row in sorted({*nasty, *range(0, len(ids), 16)}):
            attacked.browser.execute_async_script(
                "county.choose(arguments[0], false).then(() => arguments[1]())", row
            )
        for text in NASTY:
            attacked.set("search", text[:12])
        for well in range(len(NASTY)):
            attacked.browser.execute_async_script(
                "county.showWell(arguments[0], true).then(() => arguments[1]())", well
            )
        for zone in range(4):
            attacked.run(
                "county.showZone(county.layers.zones.columns.name.word(arguments[0]))", zone
            )
        attacked.run("document.getElementById('weights').open = true")
        attacked.wait_for("document.getElementById('weight-age')")
        attacked.run("county.fitWhole(county.plan.bounds, [0, 0]); county.lastSaved = null;"
                     " document.getElementById('select-view').click();"
                     "document.getElementById('select-save').click()")  # fmt: skip
        attacked.wait_for("county.lastSaved")
        assert attacked.run("return window.hurt") is None
        assert attacked.run("return document.querySelectorAll('img[src=x]').length") == 0
        assert "49" not in attacked.browser.find_element("tag name", "h1").text
        text = attacked.run("return county.lastSaved.text")
        rows = list(csv.reader(io.StringIO(text, newline="")))
        assert len(rows) > 100
        assert len({len(row) for row in rows}) == 1
        for row in rows[1:]:
            for cell in row:
                risky = cell[:1] in "=+-@\t\r\n" and cell != ""
                assert not risky or _is_number(cell)
        assert "\u202e" not in text
        assert attacked.errors() == []

    @pytest.mark.usefixtures("attacked")
    def test_owner_is_nowhere(self, tmp_path: Path) -> None:
        found = 0
        for path in sorted((tmp_path / "map").rglob("*")):
            if path.is_file():
                content = path.read_bytes()
                assert b"SECRETOWNER" not in content
                if path.parent.name == "data":
                    words = list(PackedFile(content.decode("ascii")).all_words())
                    assert not [word for word in words if "SECRETOWNER" in word]
                    found += "residential" in words
        assert found


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
