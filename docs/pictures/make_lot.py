"""Pictures of the lot and its ground: soil limits, siting and room, terrain, shares, service."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from matplotlib.figure import Figure as Drawing
from pyproj import CRS
from shapely import Point, Polygon, box

from docs.pictures.board import (
    ACCENT,
    INK,
    LINE,
    LINES,
    PALE_TO_DARK,
    SOFT,
    WARN,
    WATER,
    WELL,
    field,
    note,
    outline,
    picture,
    plain_ticks,
    scale_bar,
    tint,
)
from riskmap.contract.grid import Grid
from riskmap.contract.rules import Rules
from riskmap.inventory.room import Ground, Obstacles, describe_room, free_ground
from riskmap.inventory.service import describe_service
from riskmap.inventory.siting import locate_treatment_areas
from riskmap.inventory.soil_rule import SUB_RULES
from riskmap.inventory.terrain import derive_terrain
from riskmap.publish.palette import SOIL_COLORS
from riskmap.spatial.overlaps import area_fractions

UTM = 32616
RULES = {rule.column: rule for rule in SUB_RULES}


@picture(
    "soil_limits",
    "Limits of the national rule against depth, slope and conductivity. 0 is not limited, 1 very "
    "limited, what lies between somewhat limited; the depth curves fall, the slope curve rises, "
    "and slow and too fast soils are both limited.",
)
def soil_limits(drawing: Drawing) -> None:
    """Curves of six sub-rules."""
    panels = {
        "Depth (cm)": (np.linspace(80, 200, 241), ("bedrock", "saturated_zone")),
        "Slope (%)": (np.linspace(0, 20, 201), ("slope",)),
        "Conductivity (µm/s)": (np.geomspace(1, 150, 301), ("slow_water", "poor_filter")),
    }
    for axes, (label, (values, names)) in zip(
        drawing.subplots(1, 3, sharey=True), panels.items(), strict=True
    ):
        for at, name in ((1.0, "very limited"), (0.0, "not limited")):
            axes.axhline(at, color=SOIL_COLORS["very limited"], linewidth=0.7, linestyle=":")
            if label.startswith("Depth"):
                side = "right" if at else "left"
                edge = values[-1] if at else values[0]
                note(axes, name, edge, at + 0.02, ha=side, fontsize=7, color=SOFT)
        for (color, dash), name in zip(LINES, names, strict=False):
            rule = RULES[f"limit_{name}"]
            rated = rule.rate(pd.Series(values))
            axes.plot(values, rated, color=color, linestyle=dash, label=rule.reason)
        axes.set(xlabel=label, ylim=(-0.05, 1.3), yticks=[0, 0.5, 1])
        axes.legend(loc="upper left", fontsize=7, borderpad=0.1)
    drawing.axes[2].set_xscale("log")
    plain_ticks(drawing.axes[2])
    drawing.axes[0].set_ylabel("Limit")


LOT = Polygon([(0, 0), (78, -6), (84, 92), (30, 104), (-4, 96)])
HOUSE = box(28, 40, 44, 52)
SHED = box(58, 70, 65, 76)
POND = Polygon([(70, -20), (95, -20), (100, 30), (74, 18)])


@picture(
    "siting",
    "Two plans of one lot with house, shed, pond and well. Left: the likely treatment area, within "
    "reach of the house less setbacks. Right: the ground left after all setbacks, and in it the "
    "largest rectangle for another field, its long side along the contour.",
    height_in=3.2,
)
def siting(drawing: Drawing) -> None:
    """Likely treatment area, and the room for another field, on a drawn lot."""
    lots = gpd.GeoDataFrame(index=["A"], geometry=[LOT], crs=UTM)
    houses = gpd.GeoDataFrame(geometry=[HOUSE, SHED], crs=UTM)
    pond = gpd.GeoDataFrame(geometry=[POND], crs=UTM)
    wells = gpd.GeoDataFrame({"use": ["domestic"]}, geometry=[Point(12, 14)], crs=UTM)
    area = locate_treatment_areas(
        lots, buildings=houses, waterbodies=pond, rules=Rules()
    ).geometry.iloc[0]
    obstacles = Obstacles(buildings=houses, wells=wells, waterbodies=pond)
    free = free_ground(np.array([LOT], object), obstacles, Rules())[0]
    ground = Ground(slope_pct=8.0, downslope_deg=160.0, wet_depth_cm=150.0, restriction_cm=200.0)
    room = describe_room(lots, obstacles, ground, field_m2=300, mound_m2=200, rules=Rules()).iloc[0]
    left, right = drawing.subplots(1, 2)
    for axes, title in ((left, "Likely treatment area"), (right, "Room for another field")):
        outline(axes, LOT, facecolor="#ffffff", edgecolor=INK, linewidth=1.3)
        outline(axes, POND & box(-10, -14, 96, 110), facecolor=WATER, edgecolor="none")
        for building in (HOUSE, SHED):
            outline(axes, building, facecolor=SOFT, edgecolor=INK, zorder=3)
        axes.plot(12, 14, "o", color=WELL, markersize=5, zorder=4)
        field(axes, title)
        axes.set(xlim=(-8, 96), ylim=(-16, 110))
    outline(left, area, facecolor=PALE_TO_DARK[1], edgecolor=WARN, hatch="..", linewidth=0.8)
    note(left, "well", 15, 5)
    note(left, "pond", 80, 5)
    scale_bar(left, 2, -13, 20)
    outline(right, free, facecolor=tint(ACCENT, 0.2), edgecolor=ACCENT, linewidth=0.8)
    outline(right, room.geometry, facecolor=tint(ACCENT, 0.6), edgecolor=INK, hatch="//")
    turn = np.radians(160.0)
    right.annotate(
        "", (56 + 16 * np.sin(turn), 66 + 16 * np.cos(turn)), (56, 66),
        arrowprops={"arrowstyle": "->", "color": INK}, zorder=6,
    )  # fmt: skip
    note(right, "ground\nfalls", 63, 55)
    size = f"{room['place_length_m']:.0f} x {room['place_width_m']:.0f} m"
    center = room.geometry.centroid
    note(right, size, center.x, center.y, ha="center", va="center", bbox={"fc": "w", "lw": 0})


@picture(
    "terrain",
    "Two plans of a small valley with contour lines. Left: Horn's slope is steepest on the valley "
    "sides. Right: the wetness index is highest along the valley floor, where water gathers.",
    height_in=2.9,
)
def terrain(drawing: Drawing) -> None:
    """Slope and wetness of a drawn valley."""
    x, y = np.meshgrid(np.linspace(0, 1, 34), np.linspace(1, 0, 34))
    bed = 0.5 + 0.16 * np.sin(4 * y)
    height = 22 * y + 75 * np.abs(x - bed) ** 1.4 + 0.6 * np.sin(14 * x + 9 * y)
    land = derive_terrain(Grid(height.astype(np.float32), 0, 340, 10, 10, CRS.from_epsg(UTM)))
    assert land.wetness is not None
    wanted = {
        "Slope (%)": (land.slope_pct.values, [0, 10, 15, 20, 25, 60]),
        "Wetness, ln(a / tan b)": (land.wetness.values, [0, 4, 5, 6, 8, 20]),
    }
    for axes, (title, (values, steps)) in zip(drawing.subplots(1, 2), wanted.items(), strict=True):
        filled = axes.contourf(x, y, values, levels=steps, colors=PALE_TO_DARK)
        axes.contour(x, y, height, levels=np.arange(0, 80, 5), colors=INK, linewidths=0.45)
        field(axes, title, frame=True)
        bar = drawing.colorbar(filled, ax=axes, shrink=0.85, spacing="uniform")
        bar.set_ticks(steps[1:-1])


@picture(
    "evidence",
    "Left: a treatment area lies over three soil units. Right: the exact share of each unit, "
    "split into its components; the mixture is kept, not averaged away.",
)
def evidence(drawing: Drawing) -> None:
    """Exact shares of soil units under an area, and the mixture they make."""
    units = [
        Polygon([(0, 0), (46, 0), (32, 60), (0, 60)]),
        Polygon([(46, 0), (100, 0), (100, 26), (40, 26)]),
        Polygon([(40, 26), (100, 26), (100, 60), (32, 60)]),
    ]
    area = Polygon([(18, 14), (66, 8), (78, 40), (40, 54), (14, 40)])
    held = area_fractions(gpd.GeoSeries([area]), gpd.GeoSeries(units))["frac"].to_numpy(float)
    left, right = drawing.subplots(1, 2, width_ratios=[1.3, 1])
    for unit, color, hatch in zip(units, SOIL_COLORS.values(), ("", "..", "//"), strict=False):
        outline(left, unit, facecolor=tint(color, 0.55), edgecolor=SOFT, hatch=hatch)
    outline(left, area, facecolor="none", edgecolor=INK, linewidth=2)
    for number, unit in enumerate(units, start=1):
        spot = shapely.point_on_surface(unit)
        note(left, f"unit {number}", spot.x, spot.y, bbox={"fc": "w", "lw": 0, "pad": 1})
    field(left, "A treatment area over soil units")
    parts = ((100,), (60, 40), (50, 30, 20))
    for row, percents in enumerate(parts):
        start = 0.0
        for part, percent in enumerate(percents):
            width = 100 * held[row] * percent / 100
            shade = tint(list(SOIL_COLORS.values())[row], 1 - 0.3 * part)
            right.barh(row, width, left=start, color=shade, edgecolor=INK, linewidth=0.6)
            note(right, f"{width:.0f}", start + width / 2, row, ha="center", va="center")
            start += width
    right.set(
        yticks=range(3), yticklabels=["unit 1", "unit 2", "unit 3"], xlabel="% of the area",
        title="Components, by share",
    )  # fmt: skip
    right.invert_yaxis()


@picture(
    "service",
    "A plan of nine parcels, three of them reached by the sewer area. Each carries its verdict "
    "(sewer, onsite, none or unknown) and how it is known.",
    height_in=2.9,
)
def service(drawing: Drawing) -> None:
    """Verdicts on a drawn street."""
    lots = [
        box(40 * c, 30 * r, 40 * c + 40, 30 * r + 30) for r in range(2, -1, -1) for c in range(3)
    ]
    houses = [shapely.centroid(lot).buffer(6).envelope for lot in lots]
    standing = [i for i in range(9) if i not in (4, 8)]
    parcels = gpd.GeoDataFrame(
        {
            "service": [None, None, "onsite", None, None, None, None, None, None],
            "land_use": [*["residential"] * 4, "vacant", *["residential"] * 3, None],
            "improved": [True, True, True, True, False, True, True, True, None],
            "year_built": np.nan,
        },
        index=list("ABCDEFGHI"), geometry=lots, crs=UTM,
    )  # fmt: skip
    sewer = gpd.GeoDataFrame(geometry=[box(0, 34, 64, 90)], crs=UTM)
    built = gpd.GeoDataFrame(geometry=[houses[i] for i in standing], crs=UTM)
    answer = describe_service(parcels, buildings=built, sewer_area=sewer, rules=Rules())
    shade = {"sewer": LINE, "onsite": PALE_TO_DARK[2], "none": "#ffffff", "unknown": "#ffffff"}
    axes = drawing.subplots()
    for i, (lot, verdict) in enumerate(zip(lots, answer.itertuples(), strict=True)):
        hatch = "///" if verdict.service == "unknown" else ""
        outline(axes, lot, facecolor=tint(shade[verdict.service], 0.6), edgecolor=SOFT, hatch=hatch)
        if i in standing:
            outline(axes, houses[i], facecolor=SOFT, edgecolor=INK)
        text = f"{verdict.Index}: {verdict.service} ({verdict.service_evidence})"
        note(
            axes, text, lot.bounds[0] + 1.5, lot.bounds[1] + 2, bbox={"fc": "w", "lw": 0, "pad": 1}
        )
    outline(axes, sewer.geometry.iloc[0], facecolor="none", edgecolor=INK, linestyle="--", lw=1.8)
    note(axes, "dashed: sewer area", 1.5, 91.5)
    field(axes, "Who is on an onsite system")
