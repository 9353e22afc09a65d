"""The kinds of onsite system, one row each: words, field, service life, nitrogen, what to look for.

Everything that the program knows of a kind is here; a new kind is a new row at the end. What a
kind counts in the score is in the scoring model, which a county can edit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

FieldForm = Literal["trench_or_bed", "mound", "seepage_pit"]

MOUND_SAND_M: Final = 0.6
"""Depth of sand between a mound's bed and the ground (24 in, common practice, no source)."""


@dataclass(frozen=True)
class Field:
    """How a kind of system meets the soil (dimensions: common practice, no source).

    Parameters
    ----------
    form
        Which geometry holds.
    width_m
        Width of the trench or bed, or diameter of the pit.
    inlet_m, brim_m
        Heights above the infiltrative bottom of the inlet, and at which effluent surfaces.
    depth_m
        Usual depth of the bottom below ground; negative for a mound's bed.
    strength_frac
        Clogging strength of its waste against septic-tank effluent. Own choices: treated effluent
        is commonly allowed about twice the rate of septic-tank effluent (from memory), raw sewage
        clogs faster.
    sized_as_bed
        Whether a sizing rule's factor for beds holds.
    """

    form: FieldForm
    width_m: float
    inlet_m: float
    brim_m: float
    depth_m: float
    strength_frac: float = 1.0
    sized_as_bed: bool = False


@dataclass(frozen=True)
class Kind:
    """All that is known of one kind of system.

    Parameters
    ----------
    name, words
        The word in tables, and the one that people read.
    field
        None where nothing soaks away.
    serving
        Shares serving after 10 and after 20 years, and why.
    removed_frac
        Share of the nitrogen kept or removed before the soil, its bounds, and why.
    septic_tank
        Whether a septic tank goes before it, which is pumped out at the intervals of its size.
    note
        What to be wary of in its clogging result, or why there is none.
    look_for
        What an inspector looks for at every system of this kind.
    """

    name: str
    words: str
    field: Field | None
    serving: tuple[float, float, str]
    removed_frac: tuple[float, float, float, str]
    septic_tank: bool = True
    note: str = ""
    look_for: str = ""


DIX_HOXIE: Final = (
    "Dix & Hoxie (2001, ASAE 9th Nat. Symp., 340-348), over 145,000 Maine permits: loss under "
    "0.5% a year in the first ten years, over 80% serving after twenty; taken at .95 and .80"
)
_OWN: Final = "own judgment against the ordinary trench system"
_AS_TRENCH: Final = (0.0, 0.0, 0.3, "assumed, as trench")
_PIT: Final = (
    "A pit instead of a field: note cover, sinking ground and distance to wells. Keep off it"
)
_MOVING_PARTS: Final = (
    "Alarm, pump and service contract; wet spots at the toe of the mound or along the lines"
)

KINDS: Final[Mapping[str, Kind]] = {
    kind.name: kind
    for kind in (
        Kind(
            "trench",
            "trench field",
            Field("trench_or_bed", width_m=0.9, inlet_m=0.30, brim_m=0.6, depth_m=0.6),
            serving=(0.95, 0.80, DIX_HOXIE),
            removed_frac=(0.0, 0.0, 0.3, "assumed: the tank keeps little; see per_person"),
        ),
        Kind(
            "bed",
            "bed",
            Field("trench_or_bed", 3.6, inlet_m=0.30, brim_m=0.6, depth_m=0.6, sized_as_bed=True),
            serving=(0.95, 0.80, DIX_HOXIE),
            removed_frac=_AS_TRENCH,
        ),
        Kind(
            "mound",
            "mound",
            Field("mound", width_m=2.4, inlet_m=0.23, brim_m=0.45, depth_m=-MOUND_SAND_M),
            serving=(
                0.96,
                0.85,
                f"{_OWN}; Ohio (2012/13): 3% of mounds failing against 14% of tanks with fields",
            ),
            removed_frac=(0.1, 0.0, 0.4, "assumed: sand fill over the natural soil"),
            look_for=_MOVING_PARTS,
        ),
        Kind(
            "seepage_pit",
            "seepage pit",
            Field("seepage_pit", width_m=1.8, inlet_m=2.4, brim_m=3.0, depth_m=3.3),
            serving=(0.93, 0.72, _OWN),
            removed_frac=_AS_TRENCH,
            look_for=_PIT,
        ),
        Kind(
            "drip",
            "drip field",
            Field("trench_or_bed", width_m=0.6, inlet_m=0.15, brim_m=0.3, depth_m=0.3),
            serving=(0.94, 0.78, f"{_OWN}; pumps and filters wear"),
            removed_frac=(0.2, 0.0, 0.6, "assumed: shallow, dosed, plants take some"),
            note="drip lines are dosed under pressure; treated here as narrow shallow trenches",
            look_for=_MOVING_PARTS,
        ),
        Kind(
            "aerobic_unit",
            "aerobic unit",
            Field("trench_or_bed", 0.9, inlet_m=0.30, brim_m=0.6, depth_m=0.6, strength_frac=0.5),
            serving=(0.93, 0.75, f"{_OWN}; depends on power and service"),
            removed_frac=(0.25, 0.0, 0.7, "assumed: without a denitrifying step"),
            note="assumes the unit is kept running; without power or service its waste is stronger",
            look_for=_MOVING_PARTS,
        ),
        Kind(
            "cesspool",
            "cesspool",
            Field("seepage_pit", 1.8, inlet_m=2.4, brim_m=3.0, depth_m=3.3, strength_frac=2.0),
            serving=(0.85, 0.55, f"{_OWN}; raw sewage, old practice"),
            removed_frac=_AS_TRENCH,
            septic_tank=False,
            note="takes raw sewage: no tank goes before it",
            look_for=_PIT,
        ),
        Kind(
            "unknown",
            "unknown",
            Field("trench_or_bed", width_m=0.9, inlet_m=0.30, brim_m=0.6, depth_m=0.6),
            serving=(
                0.93,
                0.74,
                f"{_OWN}; Ohio (2012/13) found 56% of systems of unknown history failing",
            ),
            removed_frac=_AS_TRENCH,
            note="kind unknown: taken as trenches",
        ),
        Kind(
            "holding_tank",
            "holding tank",
            None,
            serving=(0.97, 0.88, f"{_OWN}; leaks and overflows only"),
            removed_frac=(1.0, 0.9, 1.0, "assumed sound: its contents are hauled away"),
            septic_tank=False,
            note="a holding tank has no field: nothing soaks away, so nothing clogs",
            look_for="Pumping receipts, the alarm, and any outlet that should not be there",
        ),
    )
}
"""Name -> kind. Their order is the order of codes in the physics: a new kind goes last."""

SYSTEM_KINDS: Final = tuple(KINDS)
UNKNOWN_CODE: Final = SYSTEM_KINDS.index("unknown")
KIND_WORDS: Final = {name: kind.words for name, kind in KINDS.items()}


def kind_of(name: object) -> Kind:
    """Return the kind called `name`; a name not in the table counts as unknown.

    >>> kind_of("mound").words, kind_of("hut").name
    ('mound', 'unknown')
    """
    return KINDS.get(str(name), KINDS["unknown"])
