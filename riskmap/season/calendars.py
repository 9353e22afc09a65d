"""A season for the devices that people carry: GPX 1.1 routes and iCalendar days (RFC 5545)."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterator
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import pandas as pd

from riskmap.publish.words.text_safety import plain_text

GPX: Final = "http://www.topografix.com/GPX/1/1"
LINE_BYTES: Final = 75
"""Longest line of a calendar, without its end (RFC 5545, 3.1)."""


def gpx_of(stops: pd.DataFrame, *, name: str) -> str:
    """Write one day's stops as a GPX route, in driving order.

    Parameters
    ----------
    stops
        Index ``parcel_id``; ``stop``, ``longitude``, ``latitude``, ``visit`` and, where known,
        ``address``.
    name
        Of the route.
    """
    points = "\n".join(
        f'<rtept lat="{row["latitude"]:.6f}" lon="{row["longitude"]:.6f}">'
        f"<name>{escape(stop_words(parcel, row))}</name>"
        f"<desc>{escape(place_words(row))}</desc></rtept>"
        for parcel, row in stops.iterrows()
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<gpx version="1.1" creator="riskmap" xmlns={quoteattr(GPX)}>\n'
        f"<rte><name>{escape(plain_text(name))}</name>\n{points}\n</rte>\n</gpx>\n"
    )


def stop_words(parcel: object, row: pd.Series) -> str:
    """Name a stop: its place in the day's order, and the parcel."""
    return f"{int(row['stop'])} {plain_text(parcel)}"


def place_words(row: pd.Series) -> str:
    """Say where a stop is and why one goes there."""
    address = plain_text(row.get("address") or "") or plain_text(row.get("road") or "")
    return ", ".join(filter(None, [address, plain_text(row["visit"])]))


def calendar_of(stops: pd.DataFrame, *, inspector: str, county: str, run: str) -> str:
    """Write one inspector's visits as a calendar; hours are the hours of the place itself.

    Parameters
    ----------
    stops
        Index ``parcel_id``; ``date``, ``begins_min``, ``service_min``, ``stop``, ``longitude``,
        ``latitude``, ``visit``, ``rank``.
    inspector, county, run
        Whose, where, and by which run.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:-//riskmap//{_text(county)}//EN"]
    for parcel, row in stops.iterrows():
        lines += list(_event(str(parcel), row, inspector, run))
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _folded(line))


def _event(parcel: str, row: pd.Series, inspector: str, run: str) -> Iterator[str]:
    begins = datetime.datetime.combine(row["date"], datetime.time()) + datetime.timedelta(
        minutes=round(float(row["begins_min"]))
    )
    ends = begins + datetime.timedelta(minutes=round(float(row["service_min"])))
    mark = hashlib.sha256(f"{run}|{parcel}|{inspector}".encode()).hexdigest()[:32]
    yield "BEGIN:VEVENT"
    yield f"UID:{mark}@riskmap"
    yield f"DTSTAMP:{row['date']:%Y%m%d}T000000Z"
    yield f"DTSTART:{begins:%Y%m%dT%H%M%S}"
    yield f"DTEND:{ends:%Y%m%dT%H%M%S}"
    yield f"SUMMARY:{_text(stop_words(parcel, row))}"
    yield f"LOCATION:{_text(place_words(row))}"
    yield f"GEO:{row['latitude']:.6f};{row['longitude']:.6f}"
    rank = f", rank {int(row['rank'])}" if pd.notna(row["rank"]) else ""
    yield f"DESCRIPTION:{_text(str(row['visit']) + rank + '; run ' + run)}"
    yield "END:VEVENT"


def _text(words: str) -> str:
    r"""Text as a calendar holds it.

    >>> _text("a, b; c")
    'a\\, b\\; c'
    """
    plain = plain_text(words).replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return " ".join(plain.split())


def _folded(line: str) -> Iterator[str]:
    """Cut a line into parts of at most 75 bytes, the further ones set in by a blank."""
    part, size = "", 0
    for sign in line:
        width = len(sign.encode())
        if size + width > LINE_BYTES:
            yield part
            part, size = " ", 1
        part, size = part + sign, size + width
    yield part
