"""The worlds: other ways in which systems may fail and an office may come to know of it.

A ranking that is good in one invented county may only have learned how that county was invented.
Each world changes the process itself: what wears a field out, who mends it, who complains, what is
kept on file. ``python -m sample_region.worlds`` prints the table that the README shows.
"""

from __future__ import annotations

import sys
from dataclasses import Field, dataclass, field, fields
from types import MappingProxyType
from typing import Any, Final


def _means(default: object, meaning: str) -> Any:
    return field(default=default, metadata={"meaning": meaning})


@dataclass(frozen=True)
class World:
    """What one world sets; the defaults are those of the usual world.

    Every value is a choice of the inventors, checked only to give believable shares of failures.
    """

    about: str

    clogging_per_year: float = _means(0.037, "clogging that a load of 10 L/m2/d adds in a year")
    wet_loss_frac: float = _means(0.62, "share of the field that high seasonal water takes away")
    soil_spread: float = _means(0.55, "spread (log) of conductivity among lots of one soil")
    use_spread: float = _means(0.28, "spread (log) of water use a person")
    builder_spread: float = _means(0.24, "spread (log) of how well fields are built")
    sized_by_soil: tuple[int, int] = _means(
        (1962, 1996), "years in which fields came to be sized by soil and bedrooms"
    )
    breaks_per_year: float = _means(0.0012, "chance that a system breaks in a year, at any age")
    repaired_per_year: float = _means(0.13, "chance that a failed system is rebuilt in a year")
    found_repaired_per_year: float = _means(
        0.13, "the same in the years after a visit has found it failed"
    )
    complaining_frac: float = _means(1.0, "share of neighborhoods from which complaints come")
    complaints_per_year: tuple[float, float, float] = _means(
        (0.001, 0.005, 0.06), "complaints a year about a sound, stressed, failed system"
    )
    missed_frac: float = _means(0.08, "share of trouble that a visit misses or takes for less")
    missed_at_sale_frac: float = _means(0.22, "the same when a house is sold")
    visits_since: int = _means(2011, "first year whose visits are on file")
    permits_kept_frac: float = _means(1.0, "share kept of the permits that the usual office has")


WORLDS: Final = MappingProxyType(
    {
        "usual": World("as a county with a diligent office may be"),
        "found-repaired": World(
            "a failure that is found is repaired within a year or two, others wait",
            repaired_per_year=0.02,
            found_repaired_per_year=0.7,
        ),
        "few-records": World(
            "visits of the last seven years only, half of the permits",
            visits_since=2020,
            permits_kept_frac=0.5,
        ),
        "ground-decides": World(
            "soil and seasonal water decide, hardly the load or the builder",
            clogging_per_year=0.016,
            wet_loss_frac=0.92,
            soil_spread=0.25,
            use_spread=0.15,
            builder_spread=0.08,
            sized_by_soil=(1930, 1950),
            breaks_per_year=0.0004,
        ),
        "chance-decides": World(
            "accidents and bad work decide, hardly anything on a map",
            clogging_per_year=0.016,
            wet_loss_frac=0.3,
            soil_spread=0.8,
            builder_spread=0.4,
            breaks_per_year=0.012,
        ),
        "some-complain": World(
            "complaints come from three neighborhoods in ten, there twice as many",
            complaining_frac=0.3,
            complaints_per_year=(0.002, 0.010, 0.12),
        ),
        "visits-miss": World(
            "visitors look at the lid: much trouble is missed, most at a sale",
            missed_frac=0.3,
            missed_at_sale_frac=0.6,
        ),
    }
)
USUAL: Final = WORLDS["usual"]


def parameters() -> tuple[Field[Any], ...]:
    """Return what a world sets: name and meaning of each parameter, in the order of declaration."""
    return tuple(one for one in fields(World) if "meaning" in one.metadata)


def table() -> str:
    """Return the parameters by world as a Markdown table; what differs from the usual is bold."""
    lines = [
        f"| parameter | meaning | {' | '.join(WORLDS)} |",
        "|---|---|" + "---|" * len(WORLDS),
    ]
    for one in parameters():
        usual = getattr(USUAL, one.name)
        values = [getattr(world, one.name) for world in WORLDS.values()]
        cells = [_cell(value) if value == usual else f"**{_cell(value)}**" for value in values]
        lines.append(f"| `{one.name}` | {one.metadata['meaning']} | {' | '.join(cells)} |")
    return "\n".join(lines)


def _cell(value: object) -> str:
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)


if __name__ == "__main__":
    sys.stdout.write(table() + "\n")
