"""The words of the letters: files a county can edit, checked before anything is printed."""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from riskmap.contract.errors import OutputError
from riskmap.contract.suggest import refuse_unknown
from riskmap.publish.paper.typesetting import PAPER
from riskmap.region.toml_file import decoded, read_small, toml_tables

LANGUAGES: Final = ("en", "es")

FORBIDDEN: Final = (
    r"\b(has|have|had|is|are|was|were|may have|might have|could have)\s+(\w+\s+)?fail(ed|ing)?\b",
    r"\bfail(s|ed|ing|ure|ures)\b",
    r"\b(your|the|this) (system|septic|tank|field|well|water)( \w+){0,4} (bad|broken|illegal|"
    r"contaminated|polluted|polluting|unsafe|leaking|overflowing)\b",
    r"\byou (are|have been) (in violation|polluting|contaminating|required|ordered)\b",
    r"\b(you|owners?|residents?) (must|shall|have to)\b",
    r"\b(violations?|fines?|penalt(y|ies)|prosecut\w*|enforcement|illegal(ly)?|condemned)\b",
    r"(\bnot|n't|\bno longer|\bstopped|\bstops?|\bquit)( be)? work(s|ing|ed)?\b",
    r"\b(defective|deficient|malfunction\w*|non-?complian\w*|out of order|health hazard)\b",
    r"\bfall(o|ado|ada|ados|a|an|aron|ando|as|os)\b",
    r"\b(su|el|este) (sistema|tanque|campo|pozo|agua)( \w+){0,4} (roto|danado|contaminad[oa]|"
    r"ilegal|averiado|malo|descompuesto)\b",
    r"\busted (esta|ha) (contaminando|contaminado|obligad[oa]|infring\w+)\b",
    r"\b(usted debe|usted tiene que|debe (reparar|arreglar|reemplazar|cambiar))\b",
    r"\b(infraccion(es)?|multas?|sancion(es)?|ilegal(es|mente)?|averiad[oa]s?|clausurad[oa]s?)\b",
    r"\b(no (funciona|sirve)|dejo de funcionar|defectuos[oa]s?|descompuest[oa]s?|deficientes?)\b",
)
"""Words a letter from a screening may not use, in either language: it knows of no failure. They are
looked for in small letters without accents."""

_LISTS: Final = {("steps", "items"), ("signs", "items"), ("safety", "items"),
                 ("household", "opening"), ("owner", "opening"), ("well", "opening"),
                 ("notice", "opening"), ("slip", "choices")}  # fmt: skip
_PARTS: Final = {
    "household": ("greeting", "opening", "about"),
    "owner": ("greeting", "opening", "about"),
    "well": ("subject", "greeting", "opening", "about"),
    "notice": ("subject", "greeting", "opening", "about"),
    "slip": ("title", "intro", "choices", "pumped", "telephone", "remarks", "reference", "back_to"),
    "steps": ("title", "items"),
    "signs": ("title", "items"),
    "safety": ("title", "items"),
    "closing": ("call", "rules", "other_language", "sign"),
}
_PLAIN: Final = ("language", "date_form", "no_contact", "subject", "more")


def default_letter(language: str) -> Path:
    """Return the letter file that comes with the program."""
    return PAPER / f"letter_{language}.toml"


def county_letters(folder: Path | None) -> dict[str, Path]:
    """Find and check a county's own letters: ``letter_en.toml``, ``letter_es.toml`` or both.

    Raises
    ------
    OutputError
        If the folder has neither, or one may not be sent (see :func:`read_letter`).
    """
    if folder is None:
        return {}
    places = {code: folder / f"letter_{code}.toml" for code in LANGUAGES}
    found = {code: path for code, path in places.items() if path.is_file()}
    if not found:
        raise OutputError(f"{folder}: expected letter_en.toml or letter_es.toml here.")
    for code, path in found.items():
        filled(
            read_letter(path, code), county="", contact="", date=datetime.date.min, source=str(path)
        )
    return found


def read_letter(path: Path | None, language: str) -> dict[str, Any]:
    """Read a letter's words; None takes the words that come with the program.

    Raises
    ------
    OutputError
        If the file is unreadable, a part is missing, it is in another language, or it uses words
        that a letter from a screening may not use.
    """
    path = path or default_letter(language)
    text = decoded(read_small(path, "the letter", OutputError), str(path), OutputError)
    texts = toml_tables(text, str(path), OutputError)
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
        line = _bare(texts)
        return [found[0] for words in FORBIDDEN for found in re.finditer(words, line)]
    if isinstance(texts, Mapping):
        return [found for part in texts.values() for found in forbidden_words(part)]
    if isinstance(texts, list | tuple):
        return [found for part in texts for found in forbidden_words(part)]
    return []


def _bare(text: str) -> str:
    """Small letters without accents, unseen marks and odd forms, a blank between words."""
    parts = unicodedata.normalize("NFKD", text.replace("\u2019", "'"))
    seen = "".join(c for c in parts if unicodedata.category(c) not in {"Mn", "Cf"})
    return " ".join(re.sub(r"[*_]", "", seen).casefold().split())


def filled(
    texts: Mapping[str, Any], *, county: str, contact: str, date: datetime.date, source: str = ""
) -> dict[str, Any]:
    """Texts with ``{county}``, ``{contact}`` and ``{date}`` replaced, and the ``date`` in words.

    Raises
    ------
    OutputError
        If a text has other words in braces.

    Parameters
    ----------
    texts
        Texts of one language, as read from its file.
    county, contact
        Put in place of the words in braces; an empty contact takes the file's ``no_contact``.
    date
        Date of the letters.
    source
        Name of the file, for the message.
    """
    day = in_words(texts, date, source)
    # The year of the report is another in each letter.
    since = {"since": "{since}"}
    values = {"county": county, "contact": contact or texts["no_contact"], "date": day}
    ready = {name: part for name, part in texts.items() if name not in {"date_form", "months"}}
    notice = {"notice": _replaced(ready.pop("notice"), values | since, source)}
    return {**_replaced(ready, values, source), **notice, "date": day}


def in_words(texts: Mapping[str, Any], date: datetime.date, source: str = "") -> str:
    """Write a date as the letters of a language do.

    Parameters
    ----------
    texts
        As read from the file of the language.
    date
        The date.
    source
        Name of the file, for the message.
    """
    parts = {"day": str(date.day), "month": texts["months"][date.month - 1], "year": str(date.year)}
    return str(_replaced(texts["date_form"], parts, source))


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
    refuse_unknown(texts, {*_PLAIN, *_PARTS, "months"}, f"{path}: the letter", OutputError)
    for part, names in _PARTS.items():
        if part in texts:
            refuse_unknown(texts[part], names, f"{path}: [{part}]", OutputError)
    wrong = [name for name in _PLAIN if not _says(texts.get(name))]
    months = texts.get("months")
    if not isinstance(months, list) or len(months) != 12 or not all(map(_says, months)):
        wrong.append("months")
    for part, names in _PARTS.items():
        given = texts.get(part, {})
        for name in names:
            value = given.get(name)
            if (part, name) in _LISTS:
                good = isinstance(value, list) and value and all(map(_says, value))
            else:
                good = _says(value)
            if not good:
                wrong.append(f"{part}.{name}")
    if wrong:
        raise OutputError(f"{path}: the letter lacks {', '.join(wrong)}. See the letter that comes "
                          "with the program.")  # fmt: skip
    if "{contact}" not in texts["closing"]["call"]:
        raise OutputError(f"{path}: closing.call must say whom to call: put {{contact}} into it.")


def _says(value: object) -> bool:
    """Whether a value is words: a text with something in it and no unseen control signs."""
    return (
        isinstance(value, str)
        and bool(value.strip())
        and not any(unicodedata.category(sign) == "Cc" for sign in value if sign not in "\n\t")
    )
