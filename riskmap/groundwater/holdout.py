"""How well measured nitrate is predicted, judged only on wells the method has not seen.

Neighboring wells resemble each other, so a random split makes a method look better than it is.
Here whole blocks of land are held out; the random split is given too, so that the gap can be seen.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats
from sklearn.ensemble import RandomForestRegressor
from sklearn.linear_model import LinearRegression

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.errors import NotEnoughDataError
from riskmap.groundwater.nitrogen import LIMIT_MG_L

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


def _folds(groups: Whole, folds: int, rng: np.random.Generator) -> Whole:
    """Fold of each row, whole groups together, groups dealt at random."""
    names = np.unique(groups)
    fold_of = np.empty(int(names.max()) + 1, np.int64)
    fold_of[rng.permutation(names)] = np.arange(len(names)) % folds
    return fold_of[groups]


def _forest(seed: int, trees: int) -> RandomForestRegressor:
    return RandomForestRegressor(
        n_estimators=trees, min_samples_leaf=5, random_state=seed, n_jobs=1
    )


def _out_of_fold(
    features: Floats, target: Floats, fold: Whole, *, forest_seed: int | None, trees: int
) -> Floats:
    predicted = np.full(len(target), np.nan)
    for name in np.unique(fold):
        held = fold == name
        model = LinearRegression() if forest_seed is None else _forest(forest_seed, trees)
        model.fit(features[~held], target[~held])
        predicted[held] = model.predict(features[held])
    return np.asarray(np.expm1(predicted), float)


def hold_out_comparison(
    features: pd.DataFrame,
    measured_mg_l: ArrayLike,
    *,
    x_m: ArrayLike,
    y_m: ArrayLike,
    plume_column: str,
    block_m: float,
    folds: int,
    limit_mg_l: float = LIMIT_MG_L,
    trees: int = 200,
    seed: int = 0,
) -> pd.DataFrame:
    """Judge the plume prediction and a random forest on held-out blocks and on a random split.

    Parameters
    ----------
    features
        One row per sampled well; rows with a missing value or measurement are left out.
    measured_mg_l, x_m, y_m
        Measured nitrate as N, place (n,).
    plume_column
        The column of ``features`` that holds the predicted nitrate, mg/L; it is judged as it
        is, and after a line fitted (in logs) on the other blocks.
    block_m
        Side of the blocks, m: longer than wells resemble each other.
    folds
        Parts that the blocks are held out in.

    Returns
    -------
    DataFrame
        ``method`` ("plumes as predicted", "plumes, line fitted", "random forest"), ``split``
        ("blocks", "random", "none"), the figures of :func:`held_out_figures`, ``suspect``.

    Raises
    ------
    NotEnoughDataError
        With fewer than 50 usable samples or five blocks.
    """
    measured, x, y = (np.asarray(part, float) for part in (measured_mg_l, x_m, y_m))
    table = features.to_numpy(float)
    keep = np.isfinite(table).all(axis=1) & np.isfinite(measured + x + y)
    table, measured, x, y = table[keep], measured[keep], x[keep], y[keep]
    blocks = spatial_blocks(x, y, block_m=block_m)
    if len(measured) < LEAST_SAMPLES or len(np.unique(blocks)) < LEAST_BLOCKS:
        raise NotEnoughDataError(
            f"a hold-out test needs {LEAST_SAMPLES} samples in {LEAST_BLOCKS} blocks"
        )
    target = np.log1p(np.maximum(measured, 0))
    plume = table[:, [features.columns.get_loc(plume_column)]]
    rng = np.random.default_rng(seed)
    splits = {
        "blocks": _folds(blocks, folds, rng),
        "random": _folds(np.arange(len(target)), folds, rng),
    }
    as_is = held_out_figures(plume[:, 0], measured, limit_mg_l=limit_mg_l)
    rows: list[dict[str, object]] = [{"method": "plumes as predicted", "split": "none", **as_is}]
    methods: dict[str, tuple[Floats, int | None]] = {
        "plumes, line fitted": (np.log1p(np.maximum(plume, 0)), None),
        "random forest": (table, seed),
    }
    for method, (columns, forest_seed) in methods.items():
        for split, fold in splits.items():
            predicted = _out_of_fold(columns, target, fold, forest_seed=forest_seed, trees=trees)
            figures = held_out_figures(predicted, measured, limit_mg_l=limit_mg_l)
            rows.append({"method": method, "split": split, **figures})
    result = pd.DataFrame(rows)
    return result.assign(suspect=result["r2"] > SUSPECT_R2)
