"""Settings, each declared once: default, unit, bounds, meaning, source, how far it may be off.

Settings are declared together as the fields of a frozen dataclass below :class:`Section`. Such a
class is a section of the region file, and its object is what the computing functions take: nothing
is wrapped again on the way, and a bound holds for the file and for the physics alike.

>>> from dataclasses import dataclass
>>> @dataclass(frozen=True)
... class Ground(Section):
...     porosity_frac: float = setting(
...         0.2, "Effective porosity", unit="0-1", low=0.01, high=0.6, source="assumed",
...         beliefs=(Belief(0.7, 1.4, JUDGED),),
...     )
>>> Ground(porosity_frac=0.3).porosity_frac
0.3
>>> Ground(porosity_frac=3)
Traceback (most recent call last):
ValueError: porosity_frac = 3: must lie between 0.01 and 0.6
"""

from __future__ import annotations

import types
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields, replace
from datetime import date
from math import prod
from numbers import Integral, Real
from typing import Any, Final, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from riskmap.contract.arrays import Floats
from riskmap.contract.columns import FIRST_YEAR, LAST_YEAR
from riskmap.contract.given_values import is_line

JUDGED: Final = "assumption of this project, no source"
"""Source of a number that this project chose itself."""

Z_95: Final = 1.6448536269514722
"""Standard normal quantile at 95%."""

WORDS: Final[Mapping[type, str]] = {
    float: "a number",
    int: "a whole number",
    bool: "true or false",
    str: "a text",
    date: "a date such as 2026-06-01",
}
"""Type of a setting -> what people call it."""


@dataclass(frozen=True, eq=False)
class Belief:
    """How far one number, the same for the whole county, may be from what a setting says.

    ``low`` and ``high`` are the 5 and 95% ends of the factor that the setting is off by, or of
    what has to be added to it (``of="shift"``). ``shape`` says what lies between: lognormal and
    normal have their middle there and thin tails beyond the ends, uniform is flat and reaches a
    twentieth of the belief past each end. Settings that share a belief are off together.
    """

    low: float
    high: float
    source: str
    shape: Literal["lognormal", "normal", "uniform"] = "lognormal"
    of: Literal["factor", "shift"] = "factor"

    def at(self, normal: npt.ArrayLike) -> Floats:
        """Value at standard normal numbers, same shape; 0 gives the middle.

        >>> Belief(0.5, 2.0, JUDGED).at([-Z_95, 0.0, Z_95]).round(6).tolist()
        [0.5, 1.0, 2.0]
        """
        z = np.asarray(normal, float)
        if self.shape == "uniform":
            width = (self.high - self.low) / 0.9
            return np.asarray(self.low + (ndtr(z) - 0.05) * width)
        low, high = (
            (np.log(self.low), np.log(self.high))
            if self.shape == "lognormal"
            else (self.low, self.high)
        )
        found = (low + high) / 2 + z * (high - low) / (2 * Z_95)
        return np.asarray(np.exp(found) if self.shape == "lognormal" else found)


@dataclass(frozen=True)
class Setting:
    """One declared setting, as :func:`settings_of` gives it.

    ``key`` is its name in the region file. ``kind`` is the type of the value, or of each item
    where ``many``; ``count`` is how many items there must be (None: any number). ``read``, where
    there is one, takes what was given instead. ``default`` is ``dataclasses.MISSING`` where a value
    must be given. ``low`` and ``high`` are included.
    """

    name: str
    key: str
    kind: type
    many: bool
    count: int | None
    optional: bool
    default: Any
    meaning: str
    unit: str
    low: float | None
    high: float | None
    choices: tuple[str, ...]
    source: str
    beliefs: tuple[Belief, ...]
    read: Callable[[Any], Any] | None

    @property
    def required(self) -> bool:
        """Whether a value must be given."""
        return self.default is MISSING

    @property
    def in_feet(self) -> str:
        """Key under which a length may be given in feet; empty for anything else."""
        return self.key[:-2] + "_ft" if self.unit == "m" and self.key.endswith("_m") else ""


def setting(
    default: Any,
    meaning: str,
    *,
    unit: str = "",
    low: float | None = None,
    high: float | None = None,
    choices: Sequence[str] = (),
    source: str = "",
    beliefs: tuple[Belief, ...] = (),
    key: str = "",
    read: Callable[[Any], Any] | None = None,
) -> Any:
    """Declare a field of a :class:`Section`.

    Parameters
    ----------
    default
        Value where none is given; ``dataclasses.MISSING`` if one must be given.
    meaning
        What it is, in a few words and without a full stop.
    unit
        SI unit as people write it; ``0-1`` for a share.
    low, high
        Least and greatest value allowed, both included; for a list, of each item.
    choices
        The words allowed. The members of a ``Literal`` need not be listed.
    source
        Where the default comes from.
    beliefs
        How far it may be off; several are multiplied, and what they add is added up.
    key
        Name in the region file where it cannot be the field's (``from``).
    read
        Takes what was given and returns the value, for values of mixed types; a ``ValueError``
        says what is expected.
    """
    about = {
        "meaning": meaning, "unit": unit, "low": low, "high": high, "choices": tuple(choices),
        "source": source, "beliefs": beliefs, "key": key, "read": read,
    }  # fmt: skip
    return field(default=default, metadata=about)


def settings_of(section: type[Section]) -> Mapping[str, Setting]:
    """List the settings of a section by name, in their order."""
    if section not in _LISTED:
        hints = get_type_hints(section)
        _LISTED[section] = {
            one.name: _declared(one.name, hints[one.name], one)
            for one in fields(section)
            if "meaning" in one.metadata
        }
    return _LISTED[section]


_LISTED: Final[dict[object, Mapping[str, Setting]]] = {}


def _declared(name: str, hint: Any, one: Any) -> Setting:
    about = dict(one.metadata)
    about["key"] = about["key"] or name
    if about["read"] is not None:
        return Setting(
            name=name, kind=object, many=False, count=None, optional=True, default=one.default,
            **about,
        )  # fmt: skip
    optional = False
    if get_origin(hint) in (Union, types.UnionType):
        optional = True
        (hint,) = (part for part in get_args(hint) if part is not type(None))
    many, count = get_origin(hint) is tuple, None
    if many:
        items = get_args(hint)
        count = None if items[-1] is Ellipsis else len(items)
        hint = items[0]
    if get_origin(hint) is Literal:
        about["choices"] = get_args(hint)
        hint = str
    return Setting(
        name=name, kind=hint, many=many, count=count, optional=optional, default=one.default,
        **about,
    )  # fmt: skip


def taken(one: Setting, given: object, *, factor: float = 1.0) -> Any:
    """Return a value in the form in which a setting is held.

    Parameters
    ----------
    one
        The setting.
    given
        What was given, in units of which `factor` make one of the setting's.

    Raises
    ------
    ValueError
        Saying what is expected, if it is of another type, out of bounds or not among the choices.
    """
    if given is None and one.optional:
        return None
    if one.read is not None:
        return one.read(given)
    if not one.many:
        return _item(one, given, factor)
    wrong_length = isinstance(given, list | tuple) and one.count not in (None, len(given))
    if not isinstance(given, list | tuple) or wrong_length:
        raise ValueError(f"expected a list of {one.count or 'any number of'} values")
    return tuple(_item(one, item, factor) for item in given)


def _item(one: Setting, given: object, factor: float) -> Any:
    value = _typed(one.kind, given)
    if one.required and value == "":
        raise ValueError("expected one line of text")
    if one.choices and value not in one.choices:
        raise ValueError(f"use one of {', '.join(one.choices)}")
    if one.low is not None and one.high is not None:
        value = value * factor if factor != 1.0 else value
        if not one.low <= value <= one.high:
            low, high = one.low / factor, one.high / factor
            raise ValueError(f"must lie between {low:g} and {high:g}")
    return value


def _typed(kind: type, given: object) -> Any:
    try:
        if kind is float and isinstance(given, Real) and not isinstance(given, bool):
            return float(given)
        if kind is int and isinstance(given, Integral) and not isinstance(given, bool):
            return int(given)
    except OverflowError:
        raise ValueError("the number is too large") from None
    if kind is str and isinstance(given, str):
        if given and not is_line(given):
            raise ValueError("expected one line of text")
        return given
    if kind is date and type(given) is date and not FIRST_YEAR <= given.year <= LAST_YEAR:
        raise ValueError(f"expected a day from {FIRST_YEAR:.0f} to {LAST_YEAR:.0f}")
    if kind not in (float, int, str) and type(given) is kind:
        return given
    raise ValueError(f"expected {WORDS.get(kind, 'a table')}")


@dataclass(frozen=True)
class Section:
    """Base of the sections: frozen dataclasses whose fields are made by :func:`setting`.

    Other fields are not settings and are left as they are.
    Values are checked whenever an object is made: ``ValueError`` names all that is wrong.
    ``dataclasses.asdict`` turns an object into plain values.
    """

    def __post_init__(self) -> None:
        wrong = []
        for one in settings_of(type(self)).values():
            given = getattr(self, one.name)
            try:
                object.__setattr__(self, one.name, taken(one, given))
            except ValueError as error:
                wrong.append(f"{one.name} = {given!r}: {error}")
        wrong = wrong or self.conflicts()
        if wrong:
            raise ValueError("; ".join(wrong))

    def conflicts(self) -> list[str]:
        """Say which settings, each good in itself, do not go together."""
        return []


AnySection = TypeVar("AnySection", bound=Section)


def clipped(section: AnySection, **changes: float) -> AnySection:
    """Replace numbers of a section, each cut to its bounds."""
    declared = settings_of(type(section))
    kept = {name: _within(declared[name], value) for name, value in changes.items()}
    return replace(section, **kept)


def _within(one: Setting, value: float) -> float:
    if one.low is None or one.high is None:
        return value
    return min(max(value, one.low), one.high)


def beliefs_of(*sections: Section) -> tuple[Belief, ...]:
    """List all beliefs about the settings of some sections, each once, in their order."""
    found = (b for s in sections for one in settings_of(type(s)).values() for b in one.beliefs)
    return tuple(dict.fromkeys(found))


def draw_beliefs(
    beliefs: Sequence[Belief], normal: npt.ArrayLike
) -> tuple[Mapping[Belief, float], ...]:
    """One set of values per column of `normal` (beliefs, sets), standard normal numbers."""
    columns = [one.at(row) for one, row in zip(beliefs, np.asarray(normal, float), strict=True)]
    return tuple(
        dict(zip(beliefs, map(float, values), strict=True)) for values in zip(*columns, strict=True)
    )


def drawn(section: AnySection, values: Mapping[Belief, float]) -> AnySection:
    """Return a section as it would be if its settings were off by `values`, cut to the bounds."""
    changes = {}
    for name, one in settings_of(type(section)).items():
        if one.beliefs:
            factor = prod(values[b] for b in one.beliefs if b.of == "factor")
            shift = sum(values[b] for b in one.beliefs if b.of == "shift")
            changes[name] = getattr(section, name) * factor + shift
    return clipped(section, **changes)
