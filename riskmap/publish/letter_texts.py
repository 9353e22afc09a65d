"""The words of the letters: files a county can edit, checked before anything is printed."""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from riskmap.errors import OutputError
from riskmap.publish.typesetting import PAPER

LANGUAGES: Final = ("en", "es")

FORBIDDEN: Final = (
    r"\b(has|have|had|is|are|was|were|may have|might have|could have)\s+(\w+\s+)?fail(ed|ing)?\b",
    r"\bfail(s|ed|ing|ure|ures)\b",
    r"\b(your|the) (system|tank|well|water)( \w+)? (is|has been|was) (bad|broken|illegal|"
    r"contaminated|polluted|polluting|unsafe|leaking)\b",
    r"\byou (are|have been) (in violation|polluting|contaminating|required|ordered)\b",
    r"\b(violations?|fines?|penalt(y|ies)|prosecut\w*|enforcement|illegal(ly)?)\b",
    r"\bfall(ó|o|ado|ada|ados|a|an|aron|ando|as|os)\b",
    r"\b(su|el) (sistema|tanque|pozo)( \w+)? (está|ha sido|fue|es) (roto|dañado|contaminado|"
    r"ilegal|averiado|malo)\b",
    r"\busted (está|ha) (contaminando|contaminado|obligad[oa]|infring\w+)\b",
    r"\b(infracci(ón|ones)|multas?|sancion(es)?|sanción|ilegal(es|mente)?|averiad[oa]s?)\b",
)
"""Words a letter from a screening may not use, in either language: it knows of no failure."""

_LISTS: Final = {("steps", "items"), ("signs", "items"), ("safety", "items"),
                 ("household", "opening"), ("owner", "opening")}  # fmt: skip
_PARTS: Final = {
    "household": ("greeting", "opening", "about"),
    "owner": ("greeting", "opening", "about"),
    "steps": ("title", "items"),
    "signs": ("title", "items"),
    "safety": ("title", "items"),
    "closing": ("call", "rules", "other_language", "sign"),
}
_PLAIN: Final = ("language", "date_form", "no_contact", "subject", "more")


def read_letter(path: Path | None, language: str) -> dict[str, Any]:
    """Read a letter's words; None takes the words that come with the program.

    Raises
    ------
    OutputError
        If the file is unreadable, a part is missing, it is in another language, or it uses words
        that a letter from a screening may not use.
    """
    path = path or PAPER / f"letter_{language}.toml"
    try:
        texts = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise OutputError(f"{path}: the letter cannot be read ({error}). Correct it.") from error
    _refuse_gaps(path, texts)
    if texts["language"] != language:
        raise OutputError(
            f"{path}: the letter says language = {texts['language']!r}, not {language!r}."
        )
    found = forbidden_words(texts)
    if found:
        raise OutputError(
            f"{path}: the letter says {found[0]!r}. A screening knows of no failure: "
            "use calm words that say so."
        )
    return texts


def forbidden_words(texts: object) -> list[str]:
    """Every forbidden phrase in a text, or in all texts of nested tables and lists.

    >>> forbidden_words("We think your system has failed.")
    ['has failed', 'failed']
    """
    if isinstance(texts, str):
        line = " ".join(texts.split())
        return [
            found[0] for words in FORBIDDEN for found in re.finditer(words, line, re.IGNORECASE)
        ]
    if isinstance(texts, Mapping):
        return [found for part in texts.values() for found in forbidden_words(part)]
    if isinstance(texts, list | tuple):
        return [found for part in texts for found in forbidden_words(part)]
    return []


def filled(
    texts: Mapping[str, Any], *, county: str, contact: str, date: datetime.date, source: str = ""
) -> dict[str, Any]:
    """Texts with ``{county}``, ``{contact}`` and ``{date}`` replaced, and the ``date`` in words.

    Raises
    ------
    OutputError
        If a text has other words in braces.
    """
    day = texts["date_form"].format(
        day=date.day, month=texts["months"][date.month - 1], year=date.year
    )
    values = {"county": county, "contact": contact or texts["no_contact"], "date": day}
    ready = {name: part for name, part in texts.items() if name not in {"date_form", "months"}}
    return {**_replaced(ready, values, source), "date": day}


def _replaced(part: Any, values: Mapping[str, str], source: str) -> Any:
    if isinstance(part, str):
        unknown = set(re.findall(r"\{([^{}]*)\}", part)) - values.keys()
        if unknown:
            raise OutputError(f"{source or 'letter'}: {{{min(unknown)}}} is not known in a letter.")
        return re.sub(r"\{(\w+)\}", lambda found: values[found[1]], part)
    if isinstance(part, Mapping):
        return {name: _replaced(value, values, source) for name, value in part.items()}
    return [_replaced(value, values, source) for value in part]


def _refuse_gaps(path: Path, texts: Mapping[str, Any]) -> None:
    wrong = [name for name in _PLAIN if not isinstance(texts.get(name), str)]
    months = texts.get("months")
    if not isinstance(months, list) or len(months) != 12:
        wrong.append("months")
    for part, names in _PARTS.items():
        for name in names:
            value = texts.get(part, {}).get(name)
            if (part, name) in _LISTS:
                good = isinstance(value, list) and all(isinstance(item, str) for item in value)
            else:
                good = isinstance(value, str)
            if not good:
                wrong.append(f"{part}.{name}")
    if wrong:
        raise OutputError(f"{path}: the letter lacks {', '.join(wrong)}. See the letter that comes "
                          "with the program.")  # fmt: skip
