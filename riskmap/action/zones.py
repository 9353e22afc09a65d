"""Planners' zones as a table: what each is, why, and the systems, wells and people it holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.action.zone_reasons import ZONE_KINDS, ZoneSettings, systems_per_cell
from riskmap.action.zone_shapes import (
    Pieces,
    close_gaps,
    holders,
    mean_width_m,
    pieces_of,
    settle,
    smooth,
    trace,
)
from riskmap.contract.arrays import Flags, Floats, Whole
from riskmap.contract.features import label
from riskmap.contract.grid import Grid
from riskmap.contract.quantities import DENSITY, Units, percent, text
from riskmap.contract.results import ZONES

LABELS: Final = {
    "wellhead": "delineated protection area",
    "capture": "capture area of wells",
    "nitrate": "high predicted nitrate",
    "dense_old": "dense old systems",
    "hot_spot": "hot spot of high scores",
    "vulnerable": "vulnerable ground",
}
LETTERS: Final = {
    "wellhead": "W", "capture": "C", "nitrate": "N", "dense_old": "D", "hot_spot": "H",
    "vulnerable": "V",
}  # fmt: skip
HOLD_NONE: Final = ("wellhead", "capture")
"""Kinds of zone that need not hold a system: what comes later would be in the wells' water."""
SMOOTHING_CELLS: Final = 1.5
"""Corners are smoothed by this many cells: enough for steps of two, as the index comes in (2 cells
squared, halved, is less than 1.5 squared)."""
LEAST_SHARE_NAMED: Final = 0.05
"""A further reason that covers less of a zone than this is not named (authors' choice)."""


@dataclass(frozen=True)
class ZoneShapes:
    """Shapes of zones: ``shapes`` (k,), ``kind`` (k,), in order.

    ``cells_m2`` (k,): area of the cells that each stands for. ``shares``: of each, the share of its
    cells that each kind of reason claims. ``left_out_m2``: area of pieces too small to stand alone.
    """

    shapes: NDArray[np.object_]
    kind: NDArray[np.object_]
    cells_m2: Floats
    shares: tuple[dict[str, float], ...]
    left_out_m2: float


def draw_zones(
    grid: Grid,
    reasons: Mapping[str, Flags],
    settings: ZoneSettings,
    *,
    systems: pd.DataFrame | None = None,
) -> ZoneShapes:
    """Dissolve the cells of each kind, settle overlaps by priority, trace and smooth.

    Parameters
    ----------
    grid
        The cells.
    reasons
        Yes or no per cell, in the order of priority
        (:func:`riskmap.action.zone_reasons.reasons_of_cells`).
    systems
        ``x_m``, ``y_m``: a zone of a kind that is not in :data:`HOLD_NONE` must hold
        ``settings.least_systems``; None: no least number.

    Returns
    -------
    ZoneShapes
        Zones that do not overlap; in the order of :func:`in_order`.
    """
    land = np.isfinite(grid.values)
    reach = settings.join_m / 2.0 / grid.cell_m
    joined = {kind: close_gaps(flags, reach_cells=reach) & land for kind, flags in reasons.items()}
    names = np.array(list(reasons), object)
    settled = settle(joined)
    pieces = pieces_of(
        settled,
        cell_m=grid.cell_m,
        least_area_m2=settings.least_area_m2,
        least_width_m=grid.cell_m,
        weight=_weight(grid, settled, list(reasons), systems, settings),
        least_weight=float(settings.least_systems),
    )
    shapes = smooth(trace(pieces, grid), tolerance_m=SMOOTHING_CELLS * grid.cell_m)
    cells = np.bincount(pieces.cells.ravel(), minlength=len(pieces.kind) + 1)[1:]
    found = ZoneShapes(
        shapes,
        names[pieces.kind - 1] if len(shapes) else np.empty(0, object),
        np.asarray(cells * grid.cell_m**2, float),
        tuple(reason_shares(pieces, reasons)),
        pieces.left_out * grid.cell_m**2,
    )
    return in_order(found)


def in_order(*parts: ZoneShapes) -> ZoneShapes:
    """Put zones of the parts of a county together: by kind, then area (largest first), then place.

    The parts are taken to lie apart; equal zones keep the order in which they come.
    """
    kind = np.concatenate([part.kind for part in parts])
    cells_m2 = np.concatenate([part.cells_m2 for part in parts])
    first = np.array([ZONE_KINDS.index(name) for name in kind], np.int64)
    order = np.lexsort((np.arange(len(kind)), -cells_m2, first))
    shares = [share for part in parts for share in part.shares]
    return ZoneShapes(
        np.concatenate([part.shapes for part in parts])[order],
        kind[order],
        cells_m2[order],
        tuple(shares[place] for place in order),
        sum(part.left_out_m2 for part in parts),
    )


def _weight(
    grid: Grid, settled: Whole, kinds: list[str], systems: pd.DataFrame | None,
    settings: ZoneSettings,
) -> Floats:  # fmt: skip
    """Systems per cell; land that needs none counts as if each cell held enough."""
    enough = np.full(settled.shape, float(settings.least_systems))
    if systems is None:
        return enough
    held = systems_per_cell(grid, systems["x_m"], systems["y_m"])
    exempt = [place for place, kind in enumerate(kinds, start=1) if kind in HOLD_NONE]
    return np.where(np.isin(settled, exempt), enough, held)


def zone_table(
    drawn: ZoneShapes,
    *,
    systems: pd.DataFrame,
    wells: pd.DataFrame,
    homes: pd.DataFrame,
    settings: ZoneSettings,
    units: Units,
) -> pd.DataFrame:
    """Count what each zone holds and say why it is one.

    Parameters
    ----------
    drawn
        From :func:`draw_zones`.
    systems
        One row per onsite system: ``x_m``, ``y_m``, ``failure_score``, ``groundwater_score``,
        ``age_yr``, ``nitrogen_load_kg_yr``, ``lot_nitrate_mg_l``, ``chance_failing_frac``,
        ``setback_short`` (yes or no).
    wells
        Drinking-water wells: ``x_m``, ``y_m``.
    homes
        ``x_m``, ``y_m``, ``persons`` of every lot where people live, sewered or not.
    settings
        The limits that the zones were drawn by; the reasons name them.
    units
        Units of the reasons.

    Returns
    -------
    DataFrame
        One row per shape, columns of :data:`riskmap.contract.results.ZONES`. Each system, well and
        home counts in one zone at most. Means over no system are NaN.
    """
    count = len(drawn.shapes)
    area = np.array([shape.area for shape in drawn.shapes])
    inside = holders(drawn.shapes, systems["x_m"], systems["y_m"])
    by_zone = systems.assign(zone=inside)[inside >= 0].groupby("zone")
    every = np.arange(count)
    home = holders(drawn.shapes, homes["x_m"], homes["y_m"])
    people = np.bincount(
        home[home >= 0], homes["persons"].to_numpy(float)[home >= 0], minlength=count
    )
    table = pd.DataFrame({"zone_id": zone_ids(drawn.kind), "kind": drawn.kind, "area_m2": area})
    table["systems"] = by_zone.size().reindex(every, fill_value=0)
    table["wells"] = _count(holders(drawn.shapes, wells["x_m"], wells["y_m"]), count)
    table["people"] = np.round(people).astype(np.int64)
    for name, source in (
        ("mean_failure_score", "failure_score"),
        ("mean_groundwater_score", "groundwater_score"),
        ("mean_age_yr", "age_yr"),
        ("mean_nitrate_mg_l", "lot_nitrate_mg_l"),
    ):
        table[name] = by_zone[source].mean().reindex(every)
    table["worst_nitrate_mg_l"] = by_zone["lot_nitrate_mg_l"].max().reindex(every)
    for name, source in (
        ("nitrogen_kg_yr", "nitrogen_load_kg_yr"),
        ("failing_expected", "chance_failing_frac"),
        ("setback_short", "setback_short"),
    ):
        table[name] = by_zone[source].sum().reindex(every, fill_value=0)
    table["setback_short"] = table["setback_short"].astype(np.int64)
    table["systems_per_km2"] = table["systems"] / np.where(area > 0, area / 1e6, np.nan)
    table["mean_width_m"] = mean_width_m(drawn.shapes)
    table["why"] = [
        _why(row, share, settings, units)
        for row, share in zip(_rows(table), drawn.shares, strict=True)
    ]
    return table[ZONES.column_names]


def zone_ids(kinds: NDArray[np.object_]) -> list[str]:
    """Letter of the kind and a running number within it.

    >>> zone_ids(np.array(["capture", "capture", "nitrate"], object))
    ['C01', 'C02', 'N01']
    """
    series = pd.Series(kinds, dtype=object)
    number = series.groupby(series).cumcount() + 1 if len(series) else series
    return [f"{LETTERS[kind]}{n:02d}" for kind, n in zip(series, number, strict=True)]


def reason_shares(pieces: Pieces, reasons: Mapping[str, Flags]) -> list[dict[str, float]]:
    """Share of each piece's cells that each kind of reason claims."""
    count = len(pieces.kind)
    flat = pieces.cells.ravel()
    size = np.maximum(np.bincount(flat, minlength=count + 1)[1:], 1)
    held = {
        kind: np.bincount(flat[flags.ravel()], minlength=count + 1)[1:] / size
        for kind, flags in reasons.items()
    }
    return [{kind: float(share[i]) for kind, share in held.items()} for i in range(count)]


def _count(owner: Whole, count: int) -> Whole:
    return np.bincount(owner[owner >= 0], minlength=count).astype(np.int64)


def _rows(table: pd.DataFrame) -> list[dict[str, object]]:
    return [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]


def _why(
    row: Mapping[str, object], share: Mapping[str, float], settings: ZoneSettings, units: Units
) -> str:
    """Put the leading reason with its figures first, then what else holds in part of the zone."""
    kind = str(row["kind"])
    leading = _leading(kind, row, settings, units)
    also = [
        f"{LABELS[other]} ({percent(part)} of the area)"
        for other in ZONE_KINDS
        if other != kind and (part := share.get(other, 0.0)) >= LEAST_SHARE_NAMED
    ]
    return f"{leading} Also: {', '.join(also)}." if also else leading


def _leading(kind: str, row: Mapping[str, object], settings: ZoneSettings, units: Units) -> str:
    if kind == "wellhead":
        return (
            "Land inside a delineated protection area of a public well, as the county gives it"
            f"{_held(row)}."
        )
    if kind == "capture":
        return (
            f"Land from which chosen wells draw their water within {settings.capture_yr:g} years "
            f"(public wells {settings.public_capture_yr:g}), or inside a well's setback"
            f"{_held(row)}."
        )
    if kind == "nitrate":
        return (
            "Nitrate below the neighborhood is predicted above the action level of "
            f"{settings.action_mg_l:g} mg/L as N{_worst(row)}."
        )
    if kind == "dense_old":
        limit = text(settings.dense_per_km2, DENSITY, units)
        return (
            f"More than {limit} around, with a mean age of "
            f"{settings.old_yr:g} years or more{_age(row)}."
        )
    if kind == "hot_spot":
        return (
            f"High values of the {label(settings.hot_score, 'us').lower()} gather here more than "
            "shuffles of the county's own values do (Gi*, false discoveries held to "
            f"{percent(settings.alpha)}){_mean(row, settings)}."
        )
    return (
        f"Ground with a seven-factor index of {settings.vulnerable_index:g} or more: what enters "
        f"it reaches groundwater easily{_held(row)}."
    )


def _held(row: Mapping[str, object]) -> str:
    systems = int(str(row["systems"]))
    word = "system" if systems == 1 else "systems"
    return f"; {systems:,} {word} inside" if systems else "; no system inside"


def _mean(row: Mapping[str, object], settings: ZoneSettings) -> str:
    name = f"mean_{settings.hot_score}"
    return _figure(row[name], "; its mean inside is {:.0f}") if name in row else ""


def _worst(row: Mapping[str, object]) -> str:
    return _figure(row["worst_nitrate_mg_l"], "; highest below a system {:.1f}")


def _age(row: Mapping[str, object]) -> str:
    return _figure(row["mean_age_yr"], "; of the systems inside the zone itself {:.0f}")


def _figure(value: object, words: str) -> str:
    number = float(str(value))
    return words.format(number) if np.isfinite(number) else ""
