"""How well measured nitrate is predicted, judged only on wells the method has not seen.

Neighboring wells resemble each other, so a random split makes a method look better than it is.
Here whole blocks of land are held out, with a strip around them that nothing is learned from; all
is learned again for each part. Single wells left out are given too, so that the gap can be seen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Flags, Floats, Whole
from riskmap.contract.errors import NotEnoughDataError
from riskmap.contract.settings import Z_95
from riskmap.groundwater.censored import NO_RESULTS, Results
from riskmap.groundwater.nitrogen import LIMIT_MG_L
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.well_nitrate import Known, Nitrate, predict_nitrate
from riskmap.groundwater.well_risk import chance_above

PUBLISHED: Final = pd.DataFrame(
    [
        ("Wheeler et al. 2015", "Iowa, 34,084 samples, random forest, test set", 0.38),
        ("Messier et al. 2014", "North Carolina, private wells, leave-one-out", 0.33),
    ],
    columns=["study", "what", "r2"],
)
"""Published hold-out figures for nitrate in private wells."""
SUSPECT_R2: Final = 0.6
"""Above this on private wells, look for leakage."""
FIRST_SHARE: Final = 0.10
LEAST_SAMPLES: Final = 50
LEAST_BLOCKS: Final = 5
BUFFER_M: Final = 500.0
"""Strip around a held-out block that nothing is learned from (own choice)."""
THIRDS: Final = ("lowest", "middle", "highest")
FIGURES: Final = (
    "r2", "rank_correlation", "found_in_first_10_pct_frac", "said_above_frac", "found_above_frac",
    "held_by_range_frac",
    *(f"{what}_{third}_third_frac" for third in THIRDS for what in ("said", "found")),
)  # fmt: skip


def spatial_blocks(x_m: ArrayLike, y_m: ArrayLike, *, block_m: float) -> Whole:
    """Give the number of the square block each place lies in.

    Parameters
    ----------
    x_m, y_m
        Places (n,), projected m, no NaN.
    block_m
        Side of a block, m.

    Returns
    -------
    ndarray
        Block of each place (n,): whole numbers from 0, in order of easting, then northing.
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    cells = np.column_stack([np.floor(x / block_m), np.floor(y / block_m)])
    return np.unique(cells, axis=0, return_inverse=True)[1].ravel().astype(np.int64)


def held_out_figures(
    predicted: ArrayLike, measured: ArrayLike, *, limit_mg_l: float = LIMIT_MG_L
) -> dict[str, float]:
    """Compare predictions with measurements.

    Parameters
    ----------
    predicted, measured
        Nitrate, mg/L as N (n,); pairs with a NaN are left out.
    limit_mg_l
        Limit above which a well counts as one to find, mg/L as N.

    Returns
    -------
    dict
        ``r2`` of log(1 + mg/L) about the mean (may be negative), ``rank_correlation`` (Spearman),
        ``found_in_first_10_pct_frac`` (share of the wells above the limit that are among the tenth
        ranked highest), ``samples``, ``above_limit``. NaN where not defined.
    """
    p, m = np.asarray(predicted, float), np.asarray(measured, float)
    known = np.isfinite(p) & np.isfinite(m)
    p, m = p[known], m[known]
    log_p, log_m = np.log1p(np.maximum(p, 0)), np.log1p(np.maximum(m, 0))
    total = float(((log_m - log_m.mean()) ** 2).sum()) if len(m) else 0.0
    varied = total > 0 and np.ptp(p) > 0
    above = m > limit_mg_l
    first = np.lexsort((np.arange(len(p)), -p))[: int(np.ceil(FIRST_SHARE * len(p)))]
    return {
        "r2": 1 - float(((log_p - log_m) ** 2).sum()) / total if total > 0 else np.nan,
        "rank_correlation": float(stats.spearmanr(p, m)[0]) if varied else np.nan,
        "found_in_first_10_pct_frac": float(above[first].sum() / above.sum())
        if above.any()
        else np.nan,
        "samples": float(len(m)),
        "above_limit": float(above.sum()),
    }


def order_figures(number: ArrayLike, measured: ArrayLike) -> dict[str, float]:
    """Compare an order with measurements: :func:`held_out_figures` but r2, which it has none of.

    Parameters
    ----------
    number
        What is ordered by, highest first (n,).
    measured
        Nitrate, mg/L as N (n,).
    """
    return held_out_figures(number, measured) | {"r2": np.nan}


def chance_figures(
    nitrate: Nitrate, measured: ArrayLike, below: Flags, *, limit_mg_l: float = LIMIT_MG_L
) -> dict[str, float]:
    """Hold chances and ranges against measurements.

    Parameters
    ----------
    nitrate
        Predictions (n,).
    measured, below
        Nitrate (n,), mg/L as N, no NaN; whether it is half a limit that it lies below.
    limit_mg_l
        Limit whose chance is judged, mg/L as N.

    Returns
    -------
    dict
        ``said_above_frac``, ``found_above_frac``: mean chance said, share found; the same by thirds
        of the chance. ``held_by_range_frac``: share of wells inside their 90% range; one below the
        laboratory's limit is inside where the range reaches below that limit.
    """
    m = np.asarray(measured, float)
    chance = chance_above(np.exp(nitrate.mean), limit_mg_l, gsd=np.exp(nitrate.sd))
    low, high = (np.exp(nitrate.mean + z * nitrate.sd) for z in (-Z_95, Z_95))
    held = np.where(below, low <= 2 * m, (low <= m) & (m <= high))
    found = {
        "said_above_frac": float(chance.mean()),
        "found_above_frac": float((m > limit_mg_l).mean()),
        "held_by_range_frac": float(held.mean()),
    }
    for third, rows in zip(
        THIRDS, np.array_split(np.argsort(chance, kind="stable"), 3), strict=True
    ):
        found[f"said_{third}_third_frac"] = float(chance[rows].mean())
        found[f"found_{third}_third_frac"] = float((m[rows] > limit_mg_l).mean())
    return found


def held_out_folds(x_m: Floats, y_m: Floats, *, block_m: float, folds: int, seed: int) -> Whole:
    """Part that each place is held out in; whole blocks together, dealt at random.

    Parameters
    ----------
    x_m, y_m
        Places (n,), m.
    block_m
        Side of a block, m.
    folds
        Number of parts.
    seed
        For the deal.
    """
    blocks = spatial_blocks(x_m, y_m, block_m=block_m)
    dealt = np.random.default_rng(seed).permutation(int(blocks.max(initial=0)) + 1) % folds
    return np.asarray(dealt[blocks], np.int64)


def predict_held_out(
    known: Known, place: Floats, results: Results, fold: Whole, *, water: GroundwaterSettings,
    seed: int, buffer_m: float = BUFFER_M,
) -> Nitrate:  # fmt: skip
    """Predict each well from samples outside its part and the strip around it.

    Parameters
    ----------
    known, place, results
        Of sampled wells (n,), place (n, 2), m; each has a result at least.
    fold
        Part of each (n,).
    water, seed
        As :func:`riskmap.groundwater.well_nitrate.predict_nitrate` takes them.
    buffer_m
        Width of the strip, m.
    """
    mean, sd, used = np.empty(len(fold)), np.empty(len(fold)), np.zeros(len(fold), np.int64)
    for part in np.unique(fold):
        held = fold == part
        away, _ = cKDTree(place[held]).query(place)
        learning = (~held & (away > buffer_m))[results.well]
        kept = Results(
            results.well[learning], results.log_value[learning], results.below[learning],
            results.variance[learning], results.fresh_variance,
        )  # fmt: skip
        found = predict_nitrate(known, place[:, 0], place[:, 1], kept, water=water, seed=seed)
        mean[held], sd[held], used[held] = found.mean[held], found.sd[held], found.samples[held]
    return Nitrate(mean, sd, used)


def line_held_out(columns: Floats, measured: Floats, fold: Whole) -> Floats:
    """Nitrate by a line in some columns, fitted to log(1 + mg/L) outside each part.

    Parameters
    ----------
    columns
        (n, k).
    measured
        Nitrate (n,), mg/L as N.
    fold
        Part of each (n,).
    """
    table = np.column_stack([np.ones(len(columns)), columns])
    found = np.empty(len(measured))
    for part in np.unique(fold):
        held = fold == part
        fit = np.linalg.lstsq(table[~held], np.log1p(measured[~held]), rcond=None)[0]
        found[held] = np.expm1(table[held] @ fit)
    return found


def hold_out_comparison(
    known: Known,
    place: Floats,
    results: Results,
    *,
    measured_mg_l: Floats,
    below: Flags,
    simple: Mapping[str, Floats],
    risk: Callable[[Nitrate], Floats],
    water: GroundwaterSettings,
    block_m: float,
    folds: int,
    seed: int = 0,
) -> pd.DataFrame:
    """Judge predictions of sampled wells on held-out blocks, beside simple orders.

    Parameters
    ----------
    known, place, results
        What is known of the sampled wells (n,), place (n, 2), m, and their results.
    measured_mg_l, below
        What is held against: nitrate of each (n,), and whether it is half a laboratory's limit.
    simple
        Numbers that anyone could order wells by, the highest first, each (n,), by their name. The
        line is fitted in all of them.
    risk
        Number that the sampling list orders by, from predictions of these wells.
    water
        The region's settings.
    block_m
        Side of the blocks, m: longer than wells resemble each other.
    folds
        Parts that the blocks are held out in.
    seed
        For the deal of blocks.

    Returns
    -------
    DataFrame
        ``method``, ``split`` ("blocks", "single wells", "none": nothing was learned),
        :data:`FIGURES` (NaN where a method gives none), ``samples``, ``above_limit``, ``suspect``.

    Raises
    ------
    NotEnoughDataError
        With fewer than 50 samples or five blocks.
    """
    fold = held_out_folds(place[:, 0], place[:, 1], block_m=block_m, folds=folds, seed=seed)
    blocks = len(np.unique(spatial_blocks(place[:, 0], place[:, 1], block_m=block_m)))
    if len(measured_mg_l) < LEAST_SAMPLES or blocks < LEAST_BLOCKS:
        raise NotEnoughDataError(
            f"a hold-out test needs {LEAST_SAMPLES} samples in {LEAST_BLOCKS} blocks"
        )
    x, y = place.T
    predictions = {
        ("physics alone", "none"): predict_nitrate(known, x, y, NO_RESULTS, water=water, seed=seed),
        ("samples", "blocks"): predict_held_out(
            known, place, results, fold, water=water, seed=seed
        ),
        ("samples", "single wells"): predict_nitrate(known, x, y, results, water=water, seed=seed),
    }
    rows: list[dict[str, object]] = []
    for (method, split), found in predictions.items():
        figures = held_out_figures(np.exp(found.mean), measured_mg_l)
        figures |= chance_figures(found, measured_mg_l, below)
        rows.append({"method": method, "split": split, **figures})
        listed = order_figures(risk(found), measured_mg_l)
        rows.append({"method": f"sampling list, {method}", "split": split, **listed})
    for name, number in simple.items():
        rows.append({"method": name, "split": "none", **order_figures(number, measured_mg_l)})
    line = line_held_out(np.column_stack(list(simple.values())), measured_mg_l, fold)
    figures = held_out_figures(line, measured_mg_l)
    rows.append({"method": "a line in these", "split": "blocks", **figures})
    table = pd.DataFrame(rows).reindex(
        columns=["method", "split", *FIGURES, "samples", "above_limit"]
    )
    return table.assign(suspect=table["r2"] > SUSPECT_R2)
