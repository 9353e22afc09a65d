"""The tables of ``docs/methods/worth.md``, as Markdown, from the figures of many counties."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from benchmarks.worth_county import LIST, SIMPLE_ORDERS, chance_draws, order_draws
from riskmap.ranking.metrics import bias_corrected_interval

BEGIN: Final = "<!-- made by benchmarks.worth: begin -->"
END: Final = "<!-- made by benchmarks.worth: end -->"
POPULATIONS: Final = ("not known to have failed", "all")
HEADS: Final = {
    "average_precision": "average precision",
    "lift_5%": "lift in first 5%",
    "lift_10%": "lift in first 10%",
    "lift_20%": "lift in first 20%",
    "found_per_100_visits": "found per 100 visits",
}
AP: Final = "average_precision"

Counties = Mapping[str, Mapping[int, pd.DataFrame]]
"""World, seed: its systems (``worth_county.read_systems``)."""


def tables(counties: Counties, *, columns: Sequence[str], chances: Sequence[str]) -> str:
    """Return every table, those of systems not known to have failed first."""
    orders = [*SIMPLE_ORDERS, LIST, *columns]
    parts = []
    for population in POPULATIONS:
        worlds = {
            world: {seed: _of(systems, population) for seed, systems in by_seed.items()}
            for world, by_seed in counties.items()
        }
        first = next(iter(worlds))
        draws = {
            world: {
                seed: order_draws(one, orders, list(HEADS) if world == first else [AP])
                for seed, one in by_seed.items()
            }
            for world, by_seed in worlds.items()
        }
        parts += [
            f"### Systems {population}" if population != "all" else "### All systems",
            _first_world(first, worlds[first], draws[first], orders),
            _by_world(worlds, draws, orders),
            _by_county(worlds[first], draws[first], orders),
        ]
    if chances:
        parts += ["### Chances", _chances(counties, chances)]
    return "\n\n".join(parts)


def write_into(page: Path, text: str) -> None:
    """Replace what stands between the marks of a page."""
    before, rest = page.read_text("utf-8").split(BEGIN)
    _, after = rest.split(END)
    page.write_text(f"{before}{BEGIN}\n\n{text}\n\n{END}{after}", "utf-8", newline="\n")


def _of(systems: pd.DataFrame, population: str) -> pd.DataFrame:
    return systems if population == "all" else systems[~systems["known"]]


def mean_of(draws: Mapping[int, pd.DataFrame]) -> pd.DataFrame:
    """Mean over counties, sample by sample."""
    return sum(draws.values()) / len(draws)  # type: ignore[return-value]


def _cell(drawn: pd.Series, digits: int = 3) -> str:
    found = bias_corrected_interval(drawn.iloc[0], drawn.iloc[1:].to_numpy(float))
    return f"{found.value:.{digits}f} ({found.low:.{digits}f} to {found.high:.{digits}f})"


def _rows(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _share(by_seed: Mapping[int, pd.DataFrame]) -> float:
    return float(pd.Series([one["failed"].mean() for one in by_seed.values()]).mean())


def _first_world(
    world: str,
    by_seed: Mapping[int, pd.DataFrame],
    draws: Mapping[int, pd.DataFrame],
    orders: Sequence[str],
) -> str:
    mean, share = mean_of(draws), _share(by_seed)
    count = sum(len(one) for one in by_seed.values())
    digits = {"found_per_100_visits": 1, AP: 3}
    rows = [
        [name, *(_cell(mean[name, key], digits.get(key, 2)) for key in HEADS)] for name in orders
    ]
    rows.append(["by chance", f"{share:.3f}", "1", "1", "1", f"{100 * share:.1f}"])
    where = f"World `{world}`, mean of {len(by_seed)} counties, {count:,} systems."
    return f"{where}\n\n{_rows(['order', *HEADS.values()], rows)}"


def _by_world(
    worlds: Counties, draws: Mapping[str, Mapping[int, pd.DataFrame]], orders: Sequence[str]
) -> str:
    rows = []
    for world, by_seed in draws.items():
        mean = mean_of(by_seed)
        best = max(SIMPLE_ORDERS, key=lambda name: mean[name, AP].iloc[0])
        ahead = [mean[name, AP] - mean[best, AP] for name in orders[len(SIMPLE_ORDERS) :]]
        rows.append(
            [
                world,
                str(len(by_seed)),
                f"{_share(worlds[world]):.3f}",
                *(_cell(mean[name, AP]) for name in orders),
                best,
                *(_cell(one) for one in ahead),
            ]
        )
    further = [f"{name} less best simple" for name in orders[len(SIMPLE_ORDERS) :]]
    head = ["world", "counties", "failed", *orders, "best simple order", *further]
    return f"Average precision by world.\n\n{_rows(head, rows)}"


def _by_county(
    by_seed: Mapping[int, pd.DataFrame], draws: Mapping[int, pd.DataFrame], orders: Sequence[str]
) -> str:
    rows = [
        [
            str(seed),
            str(len(one)),
            f"{one['failed'].mean():.3f}",
            *(f"{draws[seed][name, AP].iloc[0]:.3f}" for name in orders),
        ]
        for seed, one in by_seed.items()
    ]
    head = ["seed", "systems", "failed", *orders]
    return f"Average precision by county of the first world.\n\n{_rows(head, rows)}"


def _chances(counties: Counties, chances: Sequence[str]) -> str:
    rows = []
    for population in POPULATIONS:
        for world, by_seed in counties.items():
            mean = mean_of(
                {seed: chance_draws(_of(one, population), chances) for seed, one in by_seed.items()}
            )
            for name in chances:
                said, found = mean[name, "said"], mean[name, "found"]
                rows.append(
                    [
                        f"`{name.split(':')[0]}`",
                        name.split(":")[1],
                        population,
                        world,
                        f"{said.iloc[0]:.3f}",
                        f"{found.iloc[0]:.3f}",
                        _cell(said / found, 2),
                        f"{mean[name, 'brier'].iloc[0]:.4f}",
                        f"{mean[name, 'constant'].iloc[0]:.4f}",
                        _cell(mean[name, "slope"], 2),
                    ]
                )
    head = [
        "chance", "of", "systems", "world", "said", "found", "said / found", "Brier",
        "Brier of a constant", "slope",
    ]  # fmt: skip
    return _rows(head, rows)
