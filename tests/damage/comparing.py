"""What a reader lost or changed without a word, against the same input undamaged."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

UNSEEN = ("flipped", "without_line", "worded")
"""Damage that no reader can see: another number, another word, a row that was never there."""


def told(before: pd.DataFrame, after: pd.DataFrame) -> bool:
    """Whether the defects of `after` say anything that those of `before` do not."""
    return bool(set(map(tuple, after.to_numpy())) - set(map(tuple, before.to_numpy())))


def differences(
    before: Mapping[str, pd.DataFrame | None], after: Mapping[str, pd.DataFrame | None]
) -> list[str]:
    """Tables that lost rows or values, or changed; shapes are compared by number only."""
    found = []
    for name, table in before.items():
        other = after[name]
        if table is None:
            continue
        if other is None:
            found.append(f"{name}: all lost")
            continue
        old, new = (_plain(frame) for frame in (table, other))
        if len(new) != len(old):
            found.append(f"{name}: {len(old)} rows, then {len(new)}")
        elif not old.equals(new):
            lost = int(old.notna().sum().sum() - new.notna().sum().sum())
            found.append(f"{name}: {lost} values lost" if lost > 0 else f"{name}: changed")
    return found


def _plain(frame: pd.DataFrame) -> pd.DataFrame:
    table = pd.DataFrame(frame).drop(columns="geometry", errors="ignore").astype(object)
    return table.where(table.notna(), None).reset_index(drop=True)


def rated_better(before: pd.DataFrame, after: pd.DataFrame) -> list[str]:
    """Keys of components whose soil looks better than before, or known where it was not."""
    both = after.index.intersection(before.index)
    old, new = before["rating"].reindex(both), after["rating"].reindex(both)
    return list(both[new.notna() & (old.isna() | (new < old - 1e-9))])
