"""What moved on a list, by hand."""

from __future__ import annotations

import pandas as pd

from riskmap.action.season_moves import list_moves


def ranked(order: str, on_file: str, chance: dict[str, float]) -> pd.DataFrame:
    names = list(order)
    return pd.DataFrame(
        {
            "rank": [float(n) for n in range(1, len(names) + 1)],
            "worklist": ["on file" if name in on_file else "to find" for name in names],
            "chance_failed_frac": [chance[name] for name in names],
            "reason_1": [f"reason {name}" for name in names],
        },
        index=names,
    )


def test_by_hand() -> None:
    """a was found failed and is on file, b sound and fell; e came in their place beside c."""
    before = ranked("abcdex", "", dict(zip("abcdex", (0.5, 0.4, 0.3, 0.2, 0.1, 0.05), strict=True)))
    after = ranked("acedby", "a", dict(zip("acedby", (1, 0.3, 0.25, 0.2, 0.05, 0), strict=True)))
    found = pd.Series({"a": "failed", "b": "sound", "d": "could not tell"})
    told = list_moves(before, after, found, first=2)
    assert told.by_finding.index.tolist() == ["failed", "sound", "could not tell", "not visited"]
    assert told.by_finding["systems"].tolist() == [1, 1, 1, 2]
    assert told.by_finding["on_file"].tolist() == [1, 0, 0, 0]
    assert told.by_finding.loc["sound"].tolist() == [1, 0.4, 0.05, 0]
    assert (told.stayed, told.visited, told.other) == (0, 2, 0)
    assert told.came.to_dict("index") == {
        "c": {"rank_before": 3.0, "rank_after": 2.0, "reason": "reason c"},
        "e": {"rank_before": 5.0, "rank_after": 3.0, "reason": "reason e"},
    }


def test_who_is_no_longer_on_file_came_from_there() -> None:
    """Found sound at a follow-up, a is to be found again."""
    chance = {"a": 0.9, "b": 0.4, "c": 0.1}
    told = list_moves(
        ranked("abc", "a", chance), ranked("bac", "", chance), pd.Series({"a": "sound"}), first=2
    )
    assert told.came.index.tolist() == ["a"]
    assert told.came["rank_before"].isna().all()
    assert (told.stayed, told.visited, told.other) == (1, 0, 1)
