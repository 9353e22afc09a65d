"""Pictures of groundwater: nitrogen, vulnerability, water table, plume, capture, well risk."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from docs.pictures.board import (
    ACCENT,
    INK,
    LINES,
    PALE,
    PALE_TO_DARK,
    SOFT,
    WARN,
    WELL,
    field,
    note,
    picture,
    scale_bar,
    tint,
)
from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.assess import assess_groundwater
from riskmap.groundwater.gradient import flow_field
from riskmap.groundwater.levels import water_levels
from riskmap.groundwater.nitrogen import (
    LIMIT_MG_L,
    effluent_depth_m_yr,
    lot_area_for_target_m2,
    lot_nitrate_mg_l,
)
from riskmap.groundwater.paths import trace_paths
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.vulnerability import FACTORS, WEIGHTS, vulnerability_index
from riskmap.groundwater.water_table import fit_water_table, surface_from_levels
from riskmap.groundwater.well_risk import chance_above, own_vulnerability
from riskmap.groundwater.zones import capture_zones, systems_inside

FLOW_L_D = 650.0


@picture(
    "nitrogen",
    "Nitrate of the water that percolates on a lot falls with the lot's size and is higher where "
    "less rain reaches the water table. A dashed line marks the limit of 10 mg/L; a dot marks the "
    "smallest lot that keeps it.",
)
def nitrogen(drawing: Drawing) -> None:
    """Mass balance against lot size for three recharges."""
    axes = drawing.subplots()
    lots = np.geomspace(400, 40_000, 121)
    for (color, dash), recharge in zip(LINES, (0.1, 0.2, 0.4), strict=False):
        water = effluent_depth_m_yr(FLOW_L_D, lots)
        nitrate = lot_nitrate_mg_l(water, recharge_m_yr=recharge)
        axes.plot(lots, nitrate, color=color, linestyle=dash, label=f"{recharge:g} m a year")
        least = lot_area_for_target_m2(FLOW_L_D, target_mg_l=LIMIT_MG_L, recharge_m_yr=recharge)
        axes.plot(least, LIMIT_MG_L, "o", color=color, markersize=5)
        axes.annotate(f"{float(least):,.0f} m²", (float(least), LIMIT_MG_L), (4, 5),
                      textcoords="offset points", fontsize=7.5)  # fmt: skip
    axes.axhline(LIMIT_MG_L, color=INK, linewidth=0.9, linestyle="--")
    axes.set(xscale="log", ylim=(0, 40), xlabel="Lot (m²)", title="Nitrate below the lot (mg/L N)")
    axes.set_xticks([500, 1000, 2000, 5000, 10_000, 20_000, 40_000])
    axes.xaxis.set_major_formatter("{x:,.0f}")
    axes.grid(alpha=0.6)
    axes.legend(title="Recharge")


SETTINGS = {
    "sand plain": (9, 8, 8, 9, 10, 8, 8),
    "state's example": (7, 6, 6, 4, 10, 6, 4),
    "clay over shale": (3, 3, 2, 3, 9, 3, 1),
}


@picture(
    "vulnerability",
    "Three settings as bars made of seven parts, each a rating times its weight: a sand plain, "
    "the published example with 137 points, and clay over shale.",
    height_in=2.2,
)
def vulnerability(drawing: Drawing) -> None:
    """Show the index as a sum of its seven parts."""
    table = pd.DataFrame(SETTINGS.values(), columns=list(FACTORS), index=list(SETTINGS))
    total = vulnerability_index(table)["vulnerability_index"].to_numpy(float)
    axes = drawing.subplots()
    start = np.zeros(len(table))
    for place, factor in enumerate(FACTORS):
        part = table[factor].to_numpy(float) * WEIGHTS["general"][factor]
        shade = (*PALE_TO_DARK[:3], PALE, tint(ACCENT, 0.35), tint(ACCENT, 0.6), "#ffffff")[place]
        axes.barh(range(3), part, left=start, color=shade, edgecolor=INK, linewidth=0.6)
        for row in range(3):
            text = f"{factor.split('_')[0]}\n{part[row]:.0f}" if row == 0 else f"{part[row]:.0f}"
            note(axes, text, start[row] + part[row] / 2, row, ha="center", va="center", fontsize=6)
        start += part
    for row in range(3):
        note(axes, f"{total[row]:.0f}", start[row] + 2, row, va="center", weight="bold")
    axes.set(yticks=range(3), yticklabels=list(SETTINGS), xlim=(0, 226), xlabel="Points")
    axes.invert_yaxis()


def _land() -> Grid:
    grid = grid_from_bounds(west_m=0, north_m=1500, cell_m=50, values=np.zeros((30, 50)))
    x, y = grid.centers()
    hills = 8 * np.exp(-(((x - 500) / 400) ** 2) - ((y - 1000) / 350) ** 2)
    return grid.with_values(120 - 0.008 * x + 0.004 * y + hills)


@picture(
    "water_table",
    "Left: heads interpolated between wells, as lines of equal height, with arrows down the "
    "gradient. Right: standard deviation of the surface, small at the wells and growing away from "
    "them.",
    height_in=2.7,
)
def water_table(drawing: Drawing) -> None:
    """Draw a kriged surface, its direction and its doubt."""
    land = _land()
    rng = np.random.default_rng(5)
    x, y = rng.uniform(60, 2440, 28), rng.uniform(60, 1440, 28)
    ground = land.bilinear(x, y)
    depth = 4 + 0.25 * (ground - 110) + rng.normal(0, 0.5, 28)
    model = fit_water_table(water_levels(x, y, depth_m=depth, land_m=ground))
    surface = surface_from_levels(model, land)
    at_x, at_y = land.centers()
    flow = flow_field(surface.head, conductivity_m_d=10.0, porosity_frac=0.2)
    left, right = drawing.subplots(1, 2)
    lines = left.contour(at_x, at_y, surface.head.values, levels=14, colors=ACCENT, linewidths=0.9)
    left.clabel(lines, fontsize=6.5, fmt="%.0f")
    some = (slice(3, None, 6), slice(3, None, 6))
    left.quiver(at_x[some], at_y[some], flow.east_frac[some], flow.north_frac[some],
                color=SOFT, width=0.006, scale=0.16)  # fmt: skip
    steps = np.linspace(surface.sd_m.min() * 0.999, surface.sd_m.max() * 1.001, 6)
    filled = right.contourf(at_x, at_y, surface.sd_m, levels=steps, colors=PALE_TO_DARK)
    drawing.colorbar(filled, ax=right, shrink=0.7, format="%.2f")
    for axes, title in ((left, "Head (m) and direction"), (right, "Standard deviation (m)")):
        axes.plot(x, y, "o", color=WELL, markeredgecolor="#ffffff", markersize=4)
        field(axes, title, frame=True)
    scale_bar(left, 100, 60, 500)


@picture(
    "plume",
    "A plume from above: nitrate added at wells screened below the water table is highest near "
    "the field, bends with the flow and thins out sideways. One well stands in it, one beside it.",
    height_in=2.9,
)
def plume(drawing: Drawing) -> None:
    """Show what one system adds, asked at a grid of wells."""
    flat = grid_from_bounds(west_m=0, north_m=900, cell_m=30, values=np.zeros((30, 45)))
    x, y = flat.centers()
    head = flat.with_values(60 - 0.005 * x + 1.6e-6 * (x - 100) * (y - 900))
    systems = pd.DataFrame({"x_m": [180.0], "y_m": [610.0], "persons": [4.0], "kind": ["trench"]})
    ask_x, ask_y = np.meshgrid(np.linspace(150, 1000, 86), np.linspace(360, 700, 69))
    wells = pd.DataFrame({"x_m": ask_x.ravel(), "y_m": ask_y.ravel()}).assign(
        depth_m=15.0, casing_m=5.0, static_level_m=5.0, flow_l_d=100.0
    )
    found = assess_groundwater(systems, wells, head, GroundwaterSettings(), WellSettings())
    added = found.wells["nitrate_added_mg_l"].to_numpy(float).reshape(ask_x.shape)
    path = trace_paths(found.flow, x_m=[180.0], y_m=[610.0], max_distance_m=900.0)
    axes = drawing.subplots()
    levels = [0.1, 0.25, 0.5, 1.0, 2.0, 20.0]
    filled = axes.contourf(ask_x, ask_y, added, levels=levels, colors=PALE_TO_DARK)
    bar = drawing.colorbar(filled, ax=axes, shrink=0.8, spacing="uniform")
    bar.set_ticks(levels[:-1], labels=[f"{level:g}" for level in levels[:-1]])
    axes.plot(path.x_m, path.y_m, color=INK, linewidth=0.8, linestyle="--")
    axes.plot(180, 610, "s", color=INK, markersize=6)
    note(axes, "system", 165, 632)
    for place, name in (((560.0, 0.0), "well in the plume"), ((640.0, 110.0), "well beside it")):
        at = np.interp(place[0], path.x_m, path.y_m) + place[1]
        axes.plot(place[0], at, "o", color=WELL, markeredgecolor="w", markersize=7)
        note(axes, name, place[0] + 14, at + 10)
    axes.contour(x, y, head.values, levels=10, colors=ACCENT, linewidths=0.5)
    field(axes, "Nitrate added (mg/L N); thin lines: heads", frame=True)
    axes.set(xlim=(100, 1000), ylim=(360, 710))
    scale_bar(axes, 130, 372, 100)


@picture(
    "capture",
    "Capture zone of a pumped well bent along the curved flow toward it, drawn for two, five and "
    "ten years of travel; systems inside the largest are filled, those outside are open.",
    height_in=2.8,
)
def capture(drawing: Drawing) -> None:
    """Zones of a well for three travel times, and who stands inside."""
    grid = grid_from_bounds(west_m=0, north_m=1200, cell_m=20, values=np.zeros((60, 100)))
    x, y = grid.centers()
    head = grid.with_values(50 - 0.004 * x + 1.5e-6 * (x - 1000) * (y - 600))
    flow = flow_field(head, conductivity_m_d=12.0, porosity_frac=0.2)
    axes = drawing.subplots()
    axes.contour(x, y, head.values, levels=12, colors=ACCENT, linewidths=0.5)
    rng = np.random.default_rng(3)
    homes = rng.uniform(60, 1940, 60), rng.uniform(60, 1140, 60)
    for years, color, dash in zip((10, 5, 2), PALE_TO_DARK[:3], ("-", "--", ":"), strict=True):
        zones = capture_zones([1550.0], [560.0], pumping_m3_d=[180.0], field=flow,
                              thickness_m=20.0, time_d=365.25 * years)  # fmt: skip
        ring = zones.rings[0]
        axes.fill(ring[:, 0], ring[:, 1], facecolor=color, edgecolor=INK, linestyle=dash)
        note(axes, f"{years} yr", ring[:, 0].min() + 12, ring[ring[:, 0].argmin(), 1])
        if years == 10:
            inside = np.isin(np.arange(60), systems_inside(zones, *homes)[1])
    axes.plot(homes[0][~inside], homes[1][~inside], "s", color=SOFT, mfc="w", markersize=4)
    axes.plot(homes[0][inside], homes[1][inside], "s", color=WARN, markersize=5)
    axes.plot(1550, 560, "o", color=WELL, markeredgecolor="w", markersize=8)
    note(axes, "well", 1580, 600)
    field(axes, f"Capture zone: {inside.sum()} of 60 systems inside", frame=True)
    scale_bar(axes, 60, 40, 200)


@picture(
    "well_risk",
    "Left: chance that the true nitrate exceeds the limit rises with the predicted nitrate and is "
    "even at the limit. Right: vulnerability of the well's own build falls with depth and is "
    "higher for short casing and highest for dug wells.",
)
def well_risk(drawing: Drawing) -> None:
    """Draw the two roads to a bad sample."""
    left, right = drawing.subplots(1, 2)
    predicted = np.geomspace(0.3, 60, 121)
    for (color, dash), gsd in zip(LINES, (1.5, 2.0, 3.0), strict=False):
        chance = 100 * chance_above(predicted, LIMIT_MG_L, gsd=gsd)
        left.semilogx(predicted, chance, color=color, ls=dash, label=f"doubt x {gsd:g}")
    left.legend()
    left.plot(LIMIT_MG_L, 50, "o", color=WARN)
    left.set(title="Chance above 10 mg/L (%)", xlabel="Predicted nitrate (mg/L N)", ylim=(0, 100))
    left.xaxis.set_major_formatter("{x:g}")
    depth = np.linspace(4, 90, 87)
    wells = {
        "dug": (3.0, 1.0),
        "6 m of casing": (6.0, 0.0),
        "18 m": (18.0, 0.0),
        "30 m": (30.0, 0.0),
    }
    for (color, dash), (name, (casing, dug)) in zip(LINES, wells.items(), strict=True):
        own = own_vulnerability(depth_m=depth, casing_m=np.full(87, casing),
                                age_yr=np.full(87, 20.0), dug=np.full(87, dug),
                                settings=WellSettings())  # fmt: skip
        right.plot(depth, own["well_vulnerability_frac"], color=color, linestyle=dash, label=name)
    right.set(
        title="Vulnerability of the well's build", xlabel="Depth of the well (m)", ylim=(0, 1)
    )
    right.legend(fontsize=7.5)
    for axes in (left, right):
        axes.grid(alpha=0.6)
