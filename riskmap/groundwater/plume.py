"""Steady nitrate plumes along curved flow paths, and what each adds at receptors near them.

Each system releases its load at the water table into a source as wide as its field and as deep as
needed for the effluent's own strength. Down the path the solute spreads sideways and downwards by
dispersion; along the path a steady plume of a lasting source is not diluted. In the coordinates of
the path this is the steady form of Domenico (1987, J. Hydrol. 91:49-58), with these additions:

- widths follow the streamlines: where the flow speeds up they converge, where it slows they diverge
  (two-dimensional continuity), so that the concentration along a streamtube does not change;
- the water table and the aquifer's bottom reflect; recharge pushes the plume below the water table
  (Vogel 1967 age profile: depth = b [1 - exp(-R t / (n b))]; from memory);
- the direction of the gradient is doubtful: ``direction_sd_deg`` widens the expected plume.

The load passes whole through every cross-section (unless it decays). The steady state comes after
a lasting source: a young system's plume may not have arrived; the travel time is given too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from riskmap.contract.arrays import Floats
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.paths import Paths
from riskmap.groundwater.reach import PathPairs
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.slabs import layer_mean, window_mean

REACH_SIGMAS: Final = 4.0
WIDTH_RATIO: Final = (0.25, 4.0)
"""Bounds on how far streamlines may diverge or converge relative to the source."""
SOURCE_FLUX_OVER_M: Final = 100.0
"""The flux at the source is the mean over the path's first part: a divide's still water is not
that of the plume."""


@dataclass(frozen=True)
class Plumes:
    """Shape of each plume along its path.

    Per path: ``load_g_d``, ``source_width_m``, ``source_depth_m``, ``source_flux_m_d``. Per point
    of the paths: ``ratio`` (width of the streamtube over that at the source), ``sigma_across_m``,
    ``sigma_down_m``, ``top_m`` (depth of the plume's slab below the water table), ``left_frac``
    (share of the load not decayed).
    """

    load_g_d: Floats
    source_width_m: Floats
    source_depth_m: Floats
    source_flux_m_d: Floats
    ratio: Floats
    sigma_across_m: Floats
    sigma_down_m: Floats
    top_m: Floats
    left_frac: Floats
    settings: GroundwaterSettings

    def reach_m(self, paths: Paths) -> Floats:
        """How far to each side of its path a plume matters, m, per point of the paths."""
        half = 0.5 * self.source_width_m[paths.owner] * self.ratio
        return half + REACH_SIGMAS * self.sigma_across_m


def _source_flux(paths: Paths) -> Floats:
    """Mean Darcy flux over the first part of each path; NaN where there is none."""
    near = (paths.distance_m <= SOURCE_FLUX_OVER_M) & np.isfinite(paths.flux_m_d)
    total = np.add.reduceat(np.where(near, paths.flux_m_d, 0.0), paths.start[:-1])
    count = np.add.reduceat(near.astype(float), paths.start[:-1])
    return np.where((count > 0) & (total > 0), total / np.maximum(count, 1), np.nan)


def _running(paths: Paths, rate: Floats) -> Floats:
    """Integral of a per-point rate along each path, by trapezoids, from 0 at its start."""
    step = np.diff(paths.distance_m, prepend=0.0)
    mean = 0.5 * (rate + np.concatenate([rate[:1], rate[:-1]]))
    part = np.nan_to_num(step * mean)
    part[paths.start[:-1]] = 0.0
    total = np.cumsum(part)
    return np.asarray(total - np.repeat(total[paths.start[:-1]], np.diff(paths.start)), float)


def spread_m2_per_m(paths: Paths, ratio: Floats) -> Floats:
    """Variance sideways for a dispersivity of 1 m across, m2, per point of the paths."""
    return np.asarray(ratio**2 * _running(paths, 2 / ratio**2), float)


def source_size(
    load_g_d: Floats, flux: Floats, width: Floats, settings: GroundwaterSettings
) -> tuple[Floats, Floats]:
    """Width and depth of each source such that its water is no stronger than the effluent.

    Parameters
    ----------
    load_g_d
        Nitrogen that reaches the water table (n,), g/day; NaN where unknown.
    flux
        Darcy flux at the source (n,), m/day.
    width
        Width of the field across the flow (n,), m.
    settings
        Strength of the effluent, least depth of mixing, thickness of the aquifer.

    Returns
    -------
    tuple
        Width and depth (n,), m: first the depth grows, up to the aquifer's thickness, then the
        width.
    """
    area = load_g_d / (flux * settings.effluent_mg_l)
    depth = np.clip(area / width, settings.source_depth_m, None)
    depth = np.minimum(depth, settings.thickness_m)
    return np.maximum(width, area / depth), depth


def left_after(
    distance_m: ArrayLike, time_d: ArrayLike, *, decay_1_d: float, dispersivity_m: float
) -> Floats:
    """Share of a steadily released solute left after first-order decay.

    exp{x / (2 a) [1 - sqrt(1 + 4 decay a / v)]} with v = x / t (Domenico 1987).

    Parameters
    ----------
    distance_m, time_d
        Distance along the path, m, and travel time, days; of one shape.
    decay_1_d
        Rate of first-order decay, 1/day; 0: none.
    dispersivity_m
        Dispersivity along the flow, m, above 0.

    Returns
    -------
    ndarray
        Share left, 0..1; 1 at the source.
    """
    x, t = np.asarray(distance_m, float), np.asarray(time_d, float)
    slowness = np.divide(t, x, out=np.zeros(np.shape(x * t)), where=x > 0)
    root = np.sqrt(1 + 4 * decay_1_d * dispersivity_m * slowness)
    return np.asarray(np.exp(x / (2 * dispersivity_m) * (1 - root)), float)


def shape_plumes(
    paths: Paths,
    *,
    load_kg_yr: ArrayLike,
    settings: GroundwaterSettings,
    source_width_m: ArrayLike | None = None,
) -> Plumes:
    """Work out how each plume spreads along its path.

    Parameters
    ----------
    paths
        One per system.
    load_kg_yr
        Nitrogen reaching the water table (n,); NaN counts as unknown and reaches no well.
    settings
        Numbers that all plumes share.
    source_width_m
        Width of each field across the flow (n,); NaN or None: as in the settings.
    """
    load = np.asarray(load_kg_yr, float) * 1000.0 / YEAR_D
    width = np.full(load.shape, settings.source_width_m)
    if source_width_m is not None:
        given = np.asarray(source_width_m, float)
        width = np.where(given > 0, given, width)
    flux = _source_flux(paths)
    width, depth = source_size(load, flux, width, settings)
    owner = paths.owner
    before = np.concatenate([paths.flux_m_d[:1], paths.flux_m_d[:-1]])
    here = np.where(np.isfinite(paths.flux_m_d), paths.flux_m_d, before)
    with np.errstate(divide="ignore"):
        ratio = np.clip(flux[owner] / here, *WIDTH_RATIO)
    spread = ratio**2 * _running(paths, 2 * settings.dispersivity_across_m / ratio**2)
    doubt = paths.distance_m * np.tan(np.radians(settings.direction_sd_deg))
    b, years = settings.thickness_m, paths.time_d / YEAR_D
    dive = b * -np.expm1(-settings.recharge_m_yr * years / (settings.porosity_frac * b))
    return Plumes(
        load_g_d=load,
        source_width_m=width,
        source_depth_m=depth,
        source_flux_m_d=flux,
        ratio=ratio,
        sigma_across_m=np.sqrt(spread + doubt**2),
        sigma_down_m=np.sqrt(2 * settings.dispersivity_down_m * paths.distance_m),
        top_m=np.minimum(dive, b - depth[owner]),
        left_frac=left_after(
            paths.distance_m,
            paths.time_d,
            decay_1_d=settings.decay_1_d,
            dispersivity_m=settings.dispersivity_along_m,
        ),
        settings=settings,
    )


def nitrate_added_mg_l(
    plumes: Plumes,
    pairs: PathPairs,
    *,
    screen_top_m: ArrayLike,
    screen_bottom_m: ArrayLike,
    capture_width_m: ArrayLike = 0.0,
) -> Floats:
    """Nitrate that each plume adds at each receptor it reaches, mg/L as N (p,).

    Parameters
    ----------
    plumes, pairs
        Shapes, and the pairs in reach.
    screen_top_m, screen_bottom_m
        Depth of the receptor's window below the water table (w,), m. Cut to the aquifer; a window
        wholly below it takes its lowest meter.
    capture_width_m
        Width across the flow from which the receptor draws, one number or (w,); the plume is
        averaged over it. 0: a point.
    """
    b = plumes.settings.thickness_m
    path, well = pairs.path, pairs.receptor
    top = np.clip(np.asarray(screen_top_m, float)[well], 0.0, max(b - 1.0, 0.0))
    bottom = np.clip(np.asarray(screen_bottom_m, float)[well], top, b)
    half = 0.5 * np.broadcast_to(np.asarray(capture_width_m, float), np.shape(screen_top_m))[well]
    ratio = pairs.along(plumes.ratio)
    side = 0.5 * plumes.source_width_m[path] * ratio
    offset = np.abs(pairs.offset_m)
    across = window_mean(
        offset - half, offset + half, -side, side, pairs.along(plumes.sigma_across_m)
    )
    slab = pairs.along(plumes.top_m)
    down = layer_mean(
        top, bottom, slab, slab + plumes.source_depth_m[path], pairs.along(plumes.sigma_down_m),
        thickness=b,
    )  # fmt: skip
    flux = plumes.source_flux_m_d[path] / ratio
    added = plumes.load_g_d[path] * pairs.along(plumes.left_frac) / flux * across * down
    return np.asarray(added, float)
