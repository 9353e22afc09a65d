"""What the condition model expects of systems that are renewed or saved today."""

from __future__ import annotations

import numpy as np

from riskmap.condition.chances import SURE, look_ahead
from riskmap.condition.fit import Fit
from riskmap.condition.model import run
from riskmap.condition.years import FAILED, STRESSED
from riskmap.contract.arrays import Floats


def failing_if_new(fit: Fit, *, within_yr: int) -> Floats:
    """Chance (n,) of failing by the horizon if every lot got a new system of its kind today.

    The lot stays as hard on its systems as the model takes it to be.
    """
    followed, point = run(fit.model, fit.theta, now=True)
    new = np.zeros_like(followed.now)
    new[:, :, 0] = followed.now.sum(axis=2)
    lots = fit.model.lots
    ages = np.zeros_like(lots.age_now)
    return look_ahead(point.terms, new, lots.now_system, ages, within_yr)[:, -1]


def failing_if_saved(fit: Fit, *, within_yr: int) -> Floats:
    """Chance (n,) of failing by the horizon of a system that has not failed, made sound today.

    A stressed field is rested or its flow brought down until it is sound again; its age stays.
    """
    followed, point = run(fit.model, fit.theta, now=True)
    saved = followed.now.copy()
    saved[:, :, 0] += saved[:, :, STRESSED]
    saved[:, :, STRESSED] = 0.0
    saved[:, :, FAILED:] = 0.0
    saved /= np.maximum(saved.sum(axis=(1, 2), keepdims=True), SURE)
    lots = fit.model.lots
    return look_ahead(point.terms, saved, lots.now_system, lots.age_now, within_yr)[:, -1]
