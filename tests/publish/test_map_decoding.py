"""The page decodes what the packer wrote: columns, texts, blocks and outlines, value by value."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.publish.map.outlines import pack_shapes, pixels
from riskmap.publish.map.packing import Package, pack_codes, pack_numbers, pack_text

pytestmark = pytest.mark.browser

COLUMNS = """
const [scripts, blockRows, count] = arguments;
scripts.forEach((text) => new Function(text)());
const head = county.unpack("a"), out = {};
const read = (column) => (column.about.kind === "number"
  ? Array.from(column.numbers(), (number) => (Number.isNaN(number) ? null : number))
  : Array.from(column.lines()));
const add = (columns) => Object.keys(columns).forEach((name) => {
  out[name] = (out[name] || []).concat(read(columns[name]));
});
if (!blockRows) add(county.columnsOf(head, head.header.columns, count));
for (let first = 0, number = 0; blockRows && first < count; first += blockRows, number++) {
  const rows = Math.min(blockRows, count - first);
  add(county.blockOf(county.unpack("a_" + number), head, first, rows, []));
}
return out;
"""
SHAPES = """
new Function(arguments[0])();
const shapes = new county.Shapes(county.unpack("a"), "shapes");
return [Array.from(shapes.x), Array.from(shapes.y), Array.from(shapes.ringStart)];
"""


def invented(seed: int, count: int) -> tuple[np.ndarray, pd.DataFrame]:
    """Columns of many kinds, some tied to others, some empty outside of the common rows."""
    rng = np.random.default_rng(seed)
    among = rng.random(count) < 0.7
    unit = rng.integers(0, 90, count)
    table = pd.DataFrame(
        {
            "unit": unit,
            "depth": (unit * 7919 % 1000) + np.where(rng.random(count) < 0.1, 1, 0),
            "wide": np.where(among, rng.integers(-(10**6), 10**9, count), np.nan),
            "smooth": (9000 * np.sin(np.arange(count) / 400)).round() / 10,
            "missing": np.full(count, np.nan),
            "rank": pd.Series(rng.permutation(count) + 1.0).where(among),
        }
    )
    table["part"] = (table["rank"] // 7).where(among)
    table["word"] = np.where(among, np.array(["é</script>", "b", "c"])[unit % 3], "")
    table["id"] = [f"{n % 97:02d}-{n:05d}/{seed}" for n in rng.permutation(count)]
    table["said"] = np.where(among, [f"about {n / 10} ft and {n * 3} \u00b5m" for n in unit], "")
    return among, table


@pytest.mark.parametrize(
    ("seed", "count", "block_rows"), [(1, 5000, None), (2, 5000, 1024), (3, 1, None), (4, 40, 7)]
)
def test_columns(page: Any, seed: int, count: int, block_rows: int | None) -> None:
    among, table = invented(seed, count)
    package = Package(among)
    packed: dict[str, Any] = {}
    for name in table:
        if table[name].dtype != object:
            packed[name] = pack_numbers(package, table[name], decimals=int(name == "smooth"))
        elif name == "word":
            packed[name] = pack_codes(package, table[name])
        else:
            packed[name] = pack_text(package, table[name])
    package.header["columns"] = packed
    scripts = list(package.to_scripts("a", block_rows).values())
    found = page.run(COLUMNS, scripts, block_rows, count)
    for name in table:
        want = table[name].astype(object).where(table[name].notna(), None).tolist()
        assert found[name] == want, name


def test_outlines(page: Any) -> None:
    rng = np.random.default_rng(6)
    x, y = (grid.ravel() * 40.0 for grid in np.meshgrid(np.arange(30), np.arange(30)))
    lots = shapely.box(x, y, x + 40, y + 40)
    odd = shapely.polygons(rng.integers(-(10**5), 10**5, (60, 5, 2)) * 1.0)
    shapes = gpd.GeoSeries([*lots, *odd], crs=3857)
    package = Package()
    pack_shapes(package, shapes)
    found_x, found_y, starts = page.run(SHAPES, package.to_scripts("a")["a"])
    east, south = pixels(shapes)
    ends = np.cumsum(shapely.get_num_coordinates(shapes.to_numpy())) - 1
    east, south = np.delete(east, ends), np.delete(south, ends)
    assert found_x == east.tolist()
    assert found_y == south.tolist()
    assert starts[:3] == [0, 4, 8]
    assert starts[-1] == len(east)
