"""What a season changed on the list: by what the visits found, and who came onto it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from riskmap.action.aims import chance_to_find, on_file_as_failed
from riskmap.contract.visits import COULD_NOT_TELL, FOUND_WORDS

NOT_VISITED: Final = "not visited"


@dataclass(frozen=True)
class Moves:
    """How the list of the run after a season differs from that before it.

    ``by_finding``: index what the visit found, or :data:`NOT_VISITED`; ``systems``,
    ``chance_before`` and ``chance_after`` (means), ``on_file`` (systems that are now to be followed
    up). ``first`` systems of either list are compared: ``stayed`` on it, ``visited`` and left it,
    ``other`` left it. ``came``: those that came onto it, best first, index ``parcel_id``;
    ``rank_before`` (NaN: was on file), ``rank_after`` and ``reason``.
    """

    by_finding: pd.DataFrame
    first: int
    stayed: int
    visited: int
    other: int
    came: pd.DataFrame


def list_moves(before: pd.DataFrame, after: pd.DataFrame, found: pd.Series, *, first: int) -> Moves:
    """Compare the list of systems to find before and after a season.

    Parameters
    ----------
    before, after
        Ranked tables of the runs, index ``parcel_id``; systems ranked in only one are left out.
    found
        What the season's last visit found, index ``parcel_id``.
    first
        So many of the first of either list are looked at.
    """
    both = before.index[before["rank"].notna()].intersection(after.index[after["rank"].notna()])
    then, now = before.loc[both], after.loc[both]
    told = found.reindex(both).fillna(NOT_VISITED)
    table = pd.DataFrame(
        {
            "chance_before": chance_to_find(then),
            "chance_after": chance_to_find(now),
            "on_file": on_file_as_failed(now),
        },
        index=both,
    )
    groups = table.groupby(told)
    by_finding = groups[["chance_before", "chance_after"]].mean()
    by_finding.insert(0, "systems", groups.size())
    by_finding["on_file"] = groups["on_file"].sum()
    order = [*reversed([w for w in FOUND_WORDS if w != COULD_NOT_TELL]), COULD_NOT_TELL]
    by_finding = by_finding.reindex([w for w in (*order, NOT_VISITED) if w in by_finding.index])
    heads = [_to_find(one).index[:first] for one in (then, now)]
    left = heads[0].difference(heads[1])
    new = now.loc[[parcel for parcel in heads[1] if parcel not in heads[0]]]
    listed = then["rank"].astype(float).mask(on_file_as_failed(then))
    came = pd.DataFrame(
        {
            "rank_before": listed.loc[new.index],
            "rank_after": new["rank"].astype(float),
            "reason": new["reason_1"].astype(object),
        }
    )
    gone = int((told[left] != NOT_VISITED).sum())
    return Moves(by_finding, first, len(heads[0]) - len(left), gone, len(left) - gone, came)


def _to_find(ranked: pd.DataFrame) -> pd.DataFrame:
    """Give the list of systems to find, first on it first."""
    return ranked[~on_file_as_failed(ranked)].sort_values("rank", kind="stable")
