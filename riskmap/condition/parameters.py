"""The model's parameters: what each means, and what is held of it before the county's records.

Every parameter is one number without bounds, normal with a mean and a standard deviation before the
records are looked at. Rates are logarithms of yearly rates, chances are logits.
"""

from __future__ import annotations

from math import log
from typing import Any, Final, NamedTuple

import numpy as np

from riskmap.condition.years import RATES, Flags, Floats

EARLY_YEARS: Final = 2.0
"""Years in which faults of construction fade to 1/e (own choice; a second rise of repairs at 2 to
10 years is published, Sci. Total Environ. 2023, 8,826 systems)."""
TYPICAL_AGE_YR: Final = 20.0
"""Age at which the hazard of wear is the one declared."""
OLDEST_YR: Final = 150
"""Older systems count as of that age."""
AGES: Final = 200
"""Ages that the hazard is tabled for."""
MODERN: Final = (1970.0, 2000.0)
"""Years over which codes came to size fields by soil (common practice, no source)."""
STEP_DOWN: Final = 0.1
"""Share of false alarms that go two steps and not one (own choice; of what is missed, it is
learned)."""


class Parameter(NamedTuple):
    """Mean and standard deviation held before the records; where they come from."""

    name: str
    mean: float
    sd: float
    meaning: str
    source: str = "judgment"


def logit(chance: float) -> float:
    """Logarithm of the odds.

    >>> round(logit(0.5), 3), round(logit(0.1), 3)
    (0.0, -2.197)
    """
    return log(chance / (1 - chance))


_SERVICE = "Dix & Hoxie 2001: over 80% serve 20 years; with stressed years before failing"

PARAMETERS: Final = (
    Parameter("wear", log(0.02), 1.0, "rate sound to stressed at twenty years", _SERVICE),
    Parameter("aging", 0.4, 0.4, "power of the age on that rate", _SERVICE),
    Parameter("early", log(0.5), 1.0, "rate from faults of construction beside it"),
    Parameter("fail", log(0.12), 0.7, "rate stressed to failed", _SERVICE),
    Parameter("rest", log(0.05), 1.0, "rate stressed to sound"),
    Parameter("ease", log(0.1), 1.0, "rate failed to stressed without a repair"),
    Parameter("set_in", log(0.2), 0.7, "rate at which a failure comes to stay"),
    Parameter("wear_renewed", 0.0, 0.3, "rate of systems renewed off the record beside `wear`"),
    Parameter("steepness", log(0.5), 0.4, "power of a system's hazard on `fail`"),
    Parameter("shelter", log(0.3), 0.5, "power of a system's hazard against recovery"),
    Parameter("spread", log(1.0), 0.5, "spread of the frailty, log hazard", "Le Gat 2008: frailty"),
    Parameter("keeps", 1.0, 1.0, "chance that a renewal keeps the lot's frailty"),
    Parameter(
        "mend_hidden", logit(0.1), 1.0, "chance a year that a failure nobody found is mended"
    ),
    Parameter("mend_found", logit(0.2), 1.0, "the same once a visit has found it"),
    Parameter("mend_early", logit(0.004), 0.7, "chance a year of renewal without failure"),
    Parameter("share_shift", 0.0, 0.5, "repairs on file beside first permits on file, logit"),
    Parameter("call_sound", log(0.002), 1.0, "complaints a year about a sound system"),
    Parameter("call_stressed", 0.0, 0.5, "more about a stressed one: log of the log ratio"),
    Parameter("call_failed", log(2.0), 0.5, "more again about a failed one: log of the log ratio"),
    Parameter("call_lot", -0.3, 0.4, "change of complaints as the lot grows e-fold"),
    Parameter("miss", logit(0.1), 0.5, "chance that a visit takes a state for a better one"),
    Parameter("miss_sale", 0.7, 0.5, "more at a sale, logit"),
    Parameter("miss_measured", -0.3, 0.3, "change where ponding was measured, logit"),
    Parameter("blind", logit(0.1), 0.7, "share of missed failures that are taken for sound"),
    Parameter("alarm", logit(0.02), 0.5, "chance that a visit takes a state for a worse one"),
    Parameter("pump_sound", logit(0.1), 0.7, "share of pump-outs of a sound system that are early"),
    Parameter("pump_stressed", log(0.5), 0.5, "more of a stressed one: log of the logit's step"),
    Parameter("pump_failed", log(0.7), 0.5, "more again of a failed one: log of the logit's step"),
    Parameter("owner_sound", logit(0.05), 0.7, "chance that an owner who answers tells of trouble"),
    Parameter("owner_stressed", log(1.0), 0.5, "more if stressed: log of the logit's step"),
    Parameter("owner_failed", log(1.5), 0.5, "more again if failed: log of the logit's step"),
    Parameter("weights", 0.0, 0.7, "all factors' effects beside the scoring model's, log"),
    Parameter("modern", -0.5, 0.8, "log hazard of a system put in after codes came"),
    Parameter("renewed", 0.0, 0.5, "log hazard of a renewed system beside a first one"),
    Parameter("designed", 0.0, 1.0, "share of the site's effect that design takes away, logit"),
)
"""Common practice without a source where the source is judgment. The widths are wide enough for a
county's records to speak; see docs/methods/state_model.md."""
NAMES: Final = tuple(parameter.name for parameter in PARAMETERS)

GROUPS: Final = ("visit", "measured visit", "sale visit", "measured sale visit")
SEEN: Final = ("sound", "stressed", "failed")
FINDINGS: Final = (
    *(f"{group}: {stage}" for group in GROUPS for stage in SEEN),
    "pumped when due",
    "pumped early",
    "owner tells of no trouble",
    "owner tells of trouble",
)
"""Kinds of finding, as the rows of ``Terms.signs``."""


def tells() -> Flags:
    """Return for each kind of finding whether the office knows of a failure from then on."""
    return np.array([kind.endswith(": failed") for kind in FINDINGS])


def _expit(x: Any) -> Any:
    return 1.0 / (1.0 + np.exp(-x))


class Natural(NamedTuple):
    """Parameters in the kernel's terms: rates, log hazard of wear by age, log chances of signs."""

    rates: Any
    log_wear: Any
    log_signs: Any


def natural(theta: Any) -> Natural:
    """Rates (:data:`~riskmap.condition.years.RATES`), wear (ages,) and signs (kinds, 3) at `theta`.

    Analytic in `theta`, so that a complex step gives exact derivatives (Squire & Trapp 1998, SIAM
    Review 40:110-112).
    """
    p = dict(zip(NAMES, theta, strict=True))
    calls = np.cumsum([p["call_sound"], np.exp(p["call_stressed"]), np.exp(p["call_failed"])])
    rates = {
        **{name: p[name] for name in ("fail", "rest", "ease", "set_in", "share_shift")},
        "wear_renewed": p["wear"] + p["wear_renewed"],
        **{name: np.exp(p[name]) for name in ("steepness", "shelter", "spread")},
        **{name: _expit(p[name]) for name in ("keeps", "mend_hidden", "mend_found", "mend_early")},
        **dict(zip(("call_sound", "call_stressed", "call_failed"), calls, strict=True)),
    }
    age = np.arange(AGES)
    worn = p["wear"] + p["aging"] * np.log((age + 1) / TYPICAL_AGE_YR)
    early = p["wear"] + p["early"] - age / EARLY_YEARS
    return Natural(
        np.array([rates[name] for name in RATES]),
        np.log(np.exp(worn) + np.exp(early)),
        np.log(_signs(p)),
    )


def _signs(p: dict[str, Any]) -> Any:
    blind, alarm = _expit(p["blind"]), _expit(p["alarm"])
    rows = []
    for group in GROUPS:
        sale, measured = "sale" in group, "measured" in group
        miss = _expit(p["miss"] + sale * p["miss_sale"] + measured * p["miss_measured"])
        rows += [
            [1 - alarm, miss * (1 - alarm), miss * blind],
            [(1 - STEP_DOWN) * alarm, (1 - miss) * (1 - alarm), miss * (1 - blind)],
            [STEP_DOWN * alarm, alarm, 1 - miss],
        ]
    for source in ("pump", "owner"):
        steps = np.exp([p[f"{source}_stressed"], p[f"{source}_failed"]])
        yes = _expit(np.cumsum([p[f"{source}_sound"], *steps]))
        rows += [list(1 - yes), list(yes)]
    return np.array(rows)


def slopes_of(theta: Floats) -> tuple[Natural, Floats, Floats]:
    """Natural parameters with exact derivatives.

    Returns
    -------
    natural
        At `theta`.
    by
        (rates + 3 x kinds, parameters) derivatives of rates and log signs.
    wear_by
        (ages, parameters) derivatives of the log hazard of wear.
    """
    step = 1e-30
    at = natural(theta)
    columns = [natural(theta + 1j * step * row) for row in np.eye(len(theta))]
    by = [np.concatenate([c.rates.imag, c.log_signs.imag.ravel()]) / step for c in columns]
    wear_by = [c.log_wear.imag / step for c in columns]
    return at, np.column_stack(by), np.column_stack(wear_by)


def modern_of(year: Floats) -> Floats:
    """Return how far codes had come (0..1) in the year a system was put in.

    >>> modern_of(np.array([1960.0, 1985.0, 2020.0])).tolist()
    [0.0, 0.5, 1.0]
    """
    return np.clip((year - MODERN[0]) / (MODERN[1] - MODERN[0]), 0.0, 1.0)
