"""Finds which source column feeds which canonical column."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence

from riskmap.contract.columns import Layer
from riskmap.contract.errors import LayerError
from riskmap.contract.sources import Source

Defaults = Mapping[str, Sequence[str]]
"""Canonical column -> names that it has in well-known open formats, the likeliest first."""


def find_column(name: str, available: Iterable[str]) -> str | None:
    """Return the column called `name`: the exact one, else the same but for case and blanks.

    >>> find_column("FLD_ZONE", ["OBJECTID", "fld_zone"])
    'fld_zone'
    """
    names = list(available)
    if name in names:
        return name
    folded = {str(known).strip().lower(): known for known in reversed(names)}
    return folded.get(name.strip().lower())


def demand_column(name: str, available: Iterable[str], *, layer: str, purpose: str) -> str:
    """Return the source column called `name`, as :func:`find_column`.

    Parameters
    ----------
    name
        Name in the region file.
    available
        Names in the source.
    layer, purpose
        For the message: the layer, and what the column is for.

    Raises
    ------
    LayerError
        If there is no such column; the message lists what there is.
    """
    names = list(available)
    found = find_column(name, names)
    if found is None:
        raise LayerError(layer, f"there is no column {name!r} for {purpose}.", _cure(name, names))
    return found


def resolve(
    source: Source, layer: Layer, available: Iterable[str], *, defaults: Defaults | None = None
) -> dict[str, str]:
    """Map canonical columns to source columns.

    The region file's mapping comes first, then the `defaults` of a well-known format, then a
    source column that already bears the canonical name. Private columns are left out unless
    ``source.keep_private`` names them, so that they are never read.

    Parameters
    ----------
    source
        Gives the mapping and the private columns to keep.
    layer
        The canonical layer.
    available
        Names in the source.
    defaults
        Names in well-known formats.

    Raises
    ------
    LayerError
        When a mapped column is absent, when a name in the mapping is no column of the layer, or
        when a column that may not be missing has no source.
    """
    names = list(available)
    _refuse_unknown(source, layer)
    found: dict[str, str] = {}
    for column in layer.columns:
        if column.private and column.name not in source.keep_private:
            continue
        spec = source.columns.get(column.name)
        if spec is not None and spec.column is None:
            continue
        if spec is not None and spec.column is not None:
            found[column.name] = demand_column(
                spec.column, names, layer=source.layer, purpose=column.name
            )
            continue
        match = _first(((defaults or {}).get(column.name, ()), (column.name,)), names)
        if match is not None:
            found[column.name] = match
        elif not column.nullable:
            raise LayerError(
                source.layer,
                f"no source column is named for {column.name} ({column.meaning}), which may not "
                "be missing.",
                _cure(column.name, names),
            )
    return found


def _first(groups: Iterable[Sequence[str]], names: list[str]) -> str | None:
    for group in groups:
        for name in group:
            match = find_column(name, names)
            if match is not None:
                return match
    return None


def _refuse_unknown(source: Source, layer: Layer) -> None:
    for name in source.columns:
        if name not in layer.column_names:
            raise LayerError(
                source.layer,
                f"the column mapping names {name!r}, which is no column of this layer.",
                _cure(name, layer.column_names),
            )


def _cure(name: str, names: list[str]) -> str:
    folded = {str(known).lower(): str(known) for known in names}
    near = difflib.get_close_matches(name.lower(), list(folded), n=1, cutoff=0.4)
    hint = f" The nearest is {folded[near[0]]!r}." if near else ""
    return f"Name one in the region file. Columns: {', '.join(map(str, names)) or '(none)'}.{hint}"
