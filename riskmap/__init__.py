"""Ranks a county's onsite wastewater systems by failure and groundwater risk.

>>> import riskmap
>>> riskmap.open_region("no-such-file.toml")
Traceback (most recent call last):
...
riskmap.contract.errors.RegionError: no-such-file.toml: the region file cannot be read: ...
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from riskmap.contract.errors import RiskmapError

if TYPE_CHECKING:
    from riskmap.backtesting import backtest
    from riskmap.running import assess, check, check_region, explain, open_region, run
    from riskmap.season.planning import plan
    from riskmap.season.recording import record
    from riskmap.stages.result import Result

__all__ = [
    "Result", "RiskmapError", "assess", "backtest", "check", "check_region", "explain",
    "open_region", "plan", "record", "run",
]  # fmt: skip

_ELSEWHERE = {
    "backtest": "riskmap.backtesting",
    "plan": "riskmap.season.planning",
    "record": "riskmap.season.recording",
}


def __getattr__(name: str) -> Any:
    """Load the run only when it is used, so that one package can be used without the rest."""
    if name in __all__:
        return getattr(import_module(_ELSEWHERE.get(name, "riskmap.running")), name)
    if name == "__version__":
        return import_module("importlib.metadata").version("riskmap")
    raise AttributeError(f"module 'riskmap' has no attribute {name!r}")


def __dir__() -> list[str]:
    """List what is offered, loaded or not."""
    return sorted([*globals(), *__all__, "__version__"])
