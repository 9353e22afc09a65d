"""Codes of a column translated into the words that the layers know, with their counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd

from data_pipelines.values import FALSE_WORDS, TRUE_WORDS, as_text, of_amounts, plain_number
from riskmap.contract.columns import Column

MOST_CODES: Final = 80
"""A column with more different values is no column of codes."""

SAID: Final[Mapping[str, Mapping[str, str]]] = {
    "land_use": {
        "residential": "residential|single family|sfr|res|resid|mobile home|manufactured home|"
                       "dwelling|duplex|condo|condominium|house|multi family|two family|"
                       "three family|apartment|sngl fam res|single fam|one family|mobile homes",
        "seasonal": "seasonal|cabin|cottage|recreational|camp|vacation|lake cabin",
        "farm": "farm|agricultural|agriculture|ranch|cropland|ag|farmstead|agric",
        "commercial": "commercial|retail|office|store|industrial|warehouse|comm|restaurant|hotel|"
                      "manufacturing",
        "institutional": "institutional|church|school|exempt|government|hospital|religious|"
                         "cemetery|public|municipal|charitable",
        "vacant": "vacant|undeveloped|unimproved|vacant land|vac|bare land|vacant residential|"
                  "vacant lot|residential vacant|vacant commercial|res vacant",
        "water": "water|lake|pond",
        "road": "road|right of way|row|street|highway",
    },
    "service": {
        "onsite": "onsite|septic|septic tank|septic system|private septic|on site|individual|"
                  "private sewage|owts|osds|ssts|holding tank|private",
        "sewer": "sewer|public sewer|municipal sewer|city sewer|community sewer|public|municipal|"
                 "sanitary sewer|city",
        "none": "none|no sewer|no sewage|no service",
        "unknown": "unknown|unk",
    },
    "action": {
        "new": "new|new construction|new system|construction|installation|install|new install|"
               "initial|original|new permit|new septic",
        "repair": "repair|major repair|minor repair|repair permit|failure repair|system repair",
        "alteration": "alteration|modification|upgrade|addition|expansion|alter|modify",
        "evaluation": "evaluation|authorization notice|existing system evaluation|site evaluation|"
                      "inspection|eval",
        "unknown": "unknown|unk",
    },
    "kind": {
        "trench": "trench|trenches|conventional|conventional trench|gravity trench|lateral field|"
                  "gravelless trench|chamber trench|standard trench|leach trench",
        "bed": "bed|seepage bed|leach bed|absorption bed|gravity bed|drainbed",
        "mound": "mound|sand mound|at grade|mound system|elevated mound|raised mound",
        "seepage_pit": "seepage pit|pit|dry well|drywell|leach pit|leaching pit",
        "drip": "drip|drip irrigation|drip dispersal|subsurface drip",
        "aerobic_unit": "aerobic unit|atu|aerobic|aerobic treatment unit|aerobic treatment",
        "cesspool": "cesspool",
        "holding_tank": "holding tank|holding|tank only",
        "unknown": "unknown|unk",
    },
    "use": {
        "domestic": "domestic|dom|household|private|residential|home|domestic well|private water",
        "public": "public|pub|public supply|municipal|community|public water supply|pws",
        "irrigation": "irrigation|irr|irrig|agricultural",
        "monitoring": "monitoring|mon|observation|test|monitor|obs",
        "other": "other|industrial|commercial|stock|livestock|geothermal",
        "unknown": "unknown|unk|unused",
    },
    "reason": {
        "complaint": "complaint|complaint response|nuisance",
        "sale": "sale|property transfer|transfer|real estate|point of sale|loan|property sale",
        "routine": "routine|maintenance|periodic|annual|regular",
        "audit": "audit|survey|random|spot check",
        "repair": "repair",
        "unknown": "unknown|unk",
    },
    "stage": {
        "sound": "sound|ok|pass|passed|good|satisfactory|functioning|working|acceptable|"
                 "functioning properly",
        "stressed": "stressed|marginal|slow|fair|concern|deficient|needs maintenance|conditional",
        "failed": "failed|fail|failing|failure|surfacing|backup|unsatisfactory|sewage surfacing|"
                  "malfunction|malfunctioning",
    },
}  # fmt: skip
"""Column -> word of the layers -> what offices write for it (common practice, no source)."""


@dataclass(frozen=True)
class Codes:
    """Translation of a column's codes.

    ``values`` are translated, ``unknown`` not; both give rows by code. ``needed`` is False where
    the readers understand every code already. ``share`` is how much of the rows is understood.
    """

    share: float
    values: Mapping[str, str] = field(default_factory=dict)
    counts: Mapping[str, int] = field(default_factory=dict)
    unknown: Mapping[str, int] = field(default_factory=dict)
    needed: bool = False


def _fold(text: str) -> str:
    return " ".join("".join(c if c.isalnum() else " " for c in text.lower()).split())


def look_at_codes(raw: pd.Series, column: Column) -> Codes:
    """Translate the codes of a column of words or of yes and no.

    Parameters
    ----------
    raw
        The source column.
    column
        The canonical column it feeds.
    """
    counts = as_text(raw).dropna().value_counts()
    total = int(counts.sum())
    if not total:
        return Codes(0.0)
    if column.dtype == "flag":
        return _flags(counts, total)
    if len(counts) > MOST_CODES:
        return Codes(0.0, unknown={str(code): int(n) for code, n in counts.head(9).items()})
    known = {_fold(word): word for word in column.domain}
    said = {
        _fold(phrase): word
        for word, phrases in SAID.get(column.name, {}).items()
        for phrase in phrases.split("|")
    }
    values, unknown = {}, {}
    for code, number in counts.items():
        word = known.get(_fold(str(code))) or said.get(_fold(str(code)))
        if word is None:
            unknown[str(code)] = int(number)
        else:
            values[str(code)] = word
    told = {code: int(counts[code]) for code in values}
    plain = {word.replace("_", " ") for word in column.domain}
    needed = any(" ".join(code.lower().split()) not in plain for code in values)
    return Codes(sum(told.values()) / total, values, told, unknown, needed)


def _flags(counts: pd.Series, total: int) -> Codes:
    words = {*TRUE_WORDS, *FALSE_WORDS}
    plain = [str(code) for code in counts.index]
    unknown = {code: int(counts[code]) for code in plain if code.lower() not in words}
    number = plain_number(pd.Series(plain))
    if of_amounts(pd.Series(np.repeat(number.to_numpy(float), counts.to_numpy(int)))):
        return Codes(1.0)
    share = 1 - sum(unknown.values()) / total
    few = dict(list(unknown.items())[:9])
    return Codes(share, unknown=few)
