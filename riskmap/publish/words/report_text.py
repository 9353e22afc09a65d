"""Words and counts that several parts of the report need."""

from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.evidence import EVIDENCE, mark_of
from riskmap.contract.features import as_word, column
from riskmap.publish.words.text_safety import plain_text


def words_of(value: object, name: str = "") -> str:
    """Return a word of a table as people read it: no underscores, first letter large.

    `name` is the column that it is in, where that has words of its own.

    >>> words_of("floodway"), words_of("drip", "kind")
    ('Floodway', 'Drip field')
    """
    own = column(name).words if name else {}
    text = plain_text(own.get(str(value), as_word(value)))
    return text[:1].upper() + text[1:]


def numbers(values: pd.Series) -> Floats:
    """Return a column as floats, NaN where missing or not finite."""
    array = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isfinite(array), array, np.nan)


def evidence_counts(table: pd.DataFrame, name: str) -> list[int]:
    """How many rows are measured, mapped, inferred, assumed, unknown (in that order).

    A column without marks counts as mapped where it has a value: it is computed from shapes.
    """
    known = table[name].notna().to_numpy()
    mark = mark_of(name)
    if mark not in table:
        found = {"mapped": int(known.sum())}
    else:
        found = {str(k): int(n) for k, n in table.loc[known, mark].value_counts().items()}
    counts = [found.get(word, 0) for word in EVIDENCE[:-1]]
    return [*counts, len(table) - sum(counts)]
