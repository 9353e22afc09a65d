"""The plan's front page: what the season is expected to find, its days on a map, its files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from riskmap.contract.quantities import COUNT, DRIVEN, EXPECTED, figure, shown
from riskmap.publish import palette
from riskmap.publish.plain_page import plain_page
from riskmap.publish.words.cautions import SCREENING, STAFF_ONLY
from riskmap.publish.words.text_safety import plain_text
from riskmap.season.planning import SeasonPlan

TEMPLATE = Path(__file__).with_name("plan_page.html")
SIDE = 900.0
"""Width of the map, in its own units."""


def ways_table(plan: SeasonPlan) -> pd.DataFrame:
    """Return the ways to spend the season's days as people read them: headings, text in cells."""
    units = plan.region.county.units
    found = plan.compared
    written = {
        "Stops": (found["stops"], COUNT),
        "Failures expected": (found["expected"], EXPECTED),
        "Per inspector-day": (found["expected_per_day"], EXPECTED),
        f"Driven, {DRIVEN.scale(units).unit}": (found["way_m"], DRIVEN),
        "Hours": (found["hours"], EXPECTED),
    }
    if "found" in found:
        written["Truly found"] = (found["found"], COUNT)
    texts = {
        title: [
            figure(value, quantity.scale(units).decimals) for value in shown(raw, quantity, units)
        ]
        for title, (raw, quantity) in written.items()
    }
    return pd.DataFrame(texts, index=found.index.rename("Way to spend the days"))


def plan_page(plan: SeasonPlan, stops: pd.DataFrame, routes: str) -> str:
    """Write the page; it asks the network for nothing.

    Parameters
    ----------
    plan
        The season.
    stops
        Its stops as worded.
    routes
        The GeoJSON of its routes.
    """
    from riskmap.season.plan_folder import clock, day_name

    people = list(dict.fromkeys(stops["inspector"]))
    back: dict[Any, float] = plan.days.set_index("day")["back_min"].to_dict()
    days = [
        {
            "day": int(str(number)),
            "date": day["date"].iloc[0].isoformat(),
            "inspector": plain_text(day["inspector"].iloc[0]),
            "stops": len(day),
            "expected": f"{day['chance'].sum():.1f}",
            "back": clock(back[number]),
            "name": day_name(day),
        }
        for number, day in stops.groupby("day")
    ]
    ways = ways_table(plan)
    return plain_page(
        TEMPLATE,
        county=plain_text(plan.region.county.name),
        run=plan.run,
        titles=[ways.index.name, *ways.columns],
        ways=list(ways.itertuples(name=None)),
        days=days,
        left_out=plan.left_out.head(50).to_dict("records"),
        left_out_more=max(0, len(plan.left_out) - 50),
        notes=plan.notes,
        audit=(plan.drawn, plan.frame),
        svg=Markup(_svg(json.loads(routes), people)),
        people=[(plain_text(name), _color(people, name)) for name in people],
        cautions=(SCREENING, STAFF_ONLY),
    )


def _color(people: list[str], name: str) -> str:
    return palette.ROUTE_COLORS[people.index(name) % len(palette.ROUTE_COLORS)]


def _svg(routes: dict[str, Any], people: list[str]) -> str:
    """Draw the routes, north up; a degree of longitude is as long as it is at their middle."""
    lines = [one for one in routes["features"] if one["geometry"]["type"] == "LineString"]
    if not lines:
        return ""
    every = np.vstack([np.array(one["geometry"]["coordinates"]) for one in lines])
    stretch = np.array([np.cos(np.radians(every[:, 1].mean())), 1.0])
    low, high = every.min(axis=0) * stretch, every.max(axis=0) * stretch
    scale = (SIDE - 40) / max(*(high - low), 1e-9)
    height = (high - low)[1] * scale + 40
    parts = []
    for one in lines:
        about = one["properties"]
        places = (np.array(one["geometry"]["coordinates"]) * stretch - low) * scale + 20
        places[:, 1] = height - places[:, 1]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
        color = _color(people, about["inspector"])
        dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3"/>' for x, y in places[1:-1])
        parts.append(
            f'<g data-day="{about["day"]}" fill="{color}" stroke="{color}">'
            f'<polyline points="{path}" fill="none" stroke-width="1.2"/>{dots}</g>'
        )
    return (
        f'<svg viewBox="0 0 {SIDE:.0f} {height:.0f}" role="img" aria-label="Routes of all days">'
        f"{''.join(parts)}</svg>"
    )
