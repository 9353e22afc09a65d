"""Invented names of places, roads and owners; obviously so."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sample_region.plan import Ints

COUNTY: Final = "Fennimarsh County (invented)"
_FIRST: Final = (
    "Quill",
    "Fenni",
    "Wobble",
    "Thistle",
    "Marrow",
    "Snick",
    "Dapple",
    "Gollop",
    "Puddle",
    "Mizzle",
    "Tumble",
    "Widder",
    "Fiddle",
    "Crumble",
    "Nimble",
    "Pottle",
    "Bumble",
    "Wimple",
)
_SECOND: Final = ("brook", "marsh", "wick", "down", "hollow", "garth", "fen", "beck", "thorpe")
_LAST: Final = ("Meadows", "Acres", "Heights", "Estates", "Woods", "Park", "Landing", "Addition")
_ADJECTIVE: Final = (
    "Pretend",
    "Imaginary",
    "Invented",
    "Supposed",
    "Fancied",
    "Fictive",
    "Storybook",
    "Makeup",
)
_THING: Final = (
    "Heron",
    "Otter",
    "Teapot",
    "Badger",
    "Lantern",
    "Turnip",
    "Kettle",
    "Plover",
    "Acorn",
    "Thimble",
    "Newt",
    "Wagon",
    "Mitten",
    "Gooseberry",
    "Walrus",
    "Button",
)
_WAY: Final = ("Lane", "Road", "Court", "Drive", "Street", "Trail")


def neighborhood(place: Ints) -> NDArray[Any]:
    """Name of each subdivision by its number.

    >>> neighborhood(np.array([0])).tolist()
    ['Quillbrook Meadows']
    """
    first = np.array(_FIRST)[place % len(_FIRST)]
    second = np.array(_SECOND)[(place // 3) % len(_SECOND)]
    last = np.array(_LAST)[(place // 7) % len(_LAST)]
    return np.array([f"{a}{b} {c}" for a, b, c in zip(first, second, last, strict=True)], object)


def street(number: Ints) -> NDArray[Any]:
    """Name of a street by its number.

    >>> street(np.array([0])).tolist()
    ['Pretend Heron Lane']
    """
    a = np.array(_ADJECTIVE)[number % len(_ADJECTIVE)]
    b = np.array(_THING)[(number // 5) % len(_THING)]
    c = np.array(_WAY)[(number // 11) % len(_WAY)]
    return np.array([f"{x} {y} {z}" for x, y, z in zip(a, b, c, strict=True)], object)


def owner(number: Ints) -> NDArray[Any]:
    """Return a placeholder for an owner's name.

    >>> owner(np.array([123])).tolist()
    ['OWNER 00123']
    """
    return np.array([f"OWNER {n:05d}" for n in number], object)
