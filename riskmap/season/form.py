"""The form for a telephone: one page a day, filled in by touch, without a network."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
from markupsafe import Markup

from riskmap.contract.columns import Column
from riskmap.contract.quantities import Units
from riskmap.contract.visits import QUESTIONS
from riskmap.publish.plain_page import plain_page
from riskmap.publish.words.cautions import SAFETY
from riskmap.publish.words.text_safety import plain_text, script_json
from riskmap.season.filled import FORM

TEMPLATE = Path(__file__).with_name("form.html")


def form_page(stops: pd.DataFrame, *, name: str, county: str, run: str, units: Units) -> str:
    """Write the form of one inspector's day.

    What is saved from it is read by ``riskmap record``; numbers in it are SI, whatever the form
    shows.

    Parameters
    ----------
    stops
        One day's stops, index ``parcel_id``, in order: ``stop``, ``begins``, ``visit``, ``rank``,
        ``address``, ``reason_1`` to ``reason_3``, ``date``, ``inspector``.
    name
        Of the file that the form saves.
    county, run
        Whose form, and of which run; the saved file says so too.
    units
        Units that people write in.
    """
    first = stops.iloc[0]
    day: dict[str, Any] = {
        "form": FORM,
        "name": name,
        "run": run,
        "county": plain_text(county),
        "date": first["date"].isoformat(),
        "inspector": plain_text(first["inspector"]),
        "questions": [_question(asked, units) for asked in QUESTIONS],
        "stops": [_stop(str(parcel), row) for parcel, row in stops.iterrows()],
    }
    title = f"{plain_text(county)}: {first['date'].isoformat()}, {plain_text(first['inspector'])}"
    return plain_page(TEMPLATE, title=title, caution=SAFETY, data=Markup(script_json(day)))


def _question(asked: Column, units: Units) -> dict[str, Any]:
    scale = asked.quantity.scale(units)
    return {
        "name": asked.name,
        "label": asked.label,
        "meaning": asked.meaning,
        "kind": asked.dtype,
        "choices": list(asked.domain),
        "unit": scale.unit,
        "factor": 1.0 / scale.factor,
        "long": asked.name == QUESTIONS[-1].name,
    }


def _stop(parcel: str, row: pd.Series) -> dict[str, Any]:
    reasons = [row.get(f"reason_{n}") for n in (1, 2, 3)]
    return {
        "parcel_id": parcel,
        "stop": int(row["stop"]),
        "begins": str(row["begins"]),
        "visit": str(row["visit"]),
        "rank": "" if pd.isna(row["rank"]) else f"{int(row['rank']):,}",
        "address": plain_text(row.get("address") or "") or plain_text(row.get("road") or ""),
        "reasons": [plain_text(words) for words in reasons if isinstance(words, str) and words],
    }
