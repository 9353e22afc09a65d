"""What must be looked for in JSON features, because the library that reads them passes over it.

It asks the network for a reference system named by a link, takes one page of a longer reply for
the whole, and leaves out without a word whatever in the list of features is no feature. Published
forms: RFC 7946 (GeoJSON, 2016); OGC API Features (numberMatched, numberReturned); a feature
service's own mark of a cut reply is ``exceededTransferLimit``.
"""

from __future__ import annotations

import json
import re
from typing import Final

import numpy as np

from riskmap.contract.errors import CrsError, SourceFormatError

_CUT: Final = re.compile(rb'"exceededTransferLimit"\s*:\s*true')
_MATCHED: Final = re.compile(rb'"numberMatched"\s*:\s*(\d+)')
_RETURNED: Final = re.compile(rb'"numberReturned"\s*:\s*(\d+)')
_LINKED_CRS: Final = re.compile(
    rb'"(?:c|\\u0063)(?:r|\\u0072)(?:s|\\u0073)"\s*:\s*\{[^{}]*(?:\{[^{}]*)?'
    rb'"(?:link|url|href)"'
)
_FEATURES: Final = re.compile(rb'"features"\s*:\s*\[')
_PIECE: Final = 16 * 1024**2
_STEP: Final = np.zeros(256, dtype="int8")
_STEP[[ord("{"), ord("[")]], _STEP[[ord("}"), ord("]")]] = 1, -1
_IS_SIGN: Final = (_STEP != 0) | (np.arange(256) == ord(","))
_ALL_PAGES: Final = "Fetch all pages of the reply and name them all in files."


def check_features(content: bytes, name: str, layer: str) -> None:
    """Refuse a reply that is only one page, and a reference system that is only a link.

    Raises
    ------
    SourceFormatError, CrsError
    """
    if _CUT.search(content):
        raise SourceFormatError(
            layer, f"{name} is cut at the page limit (exceededTransferLimit is true).", _ALL_PAGES
        )
    matched, returned = _MATCHED.search(content), _RETURNED.search(content)
    if matched and returned and int(matched[1]) > int(returned[1]):
        raise SourceFormatError(
            layer,
            f"{name} holds {int(returned[1])} of {int(matched[1])} features: one page of a reply.",
            _ALL_PAGES,
        )
    if _LINKED_CRS.search(content):
        raise CrsError(
            layer,
            f"{name} names its reference system only by a link, and no network is used.",
            'Take the member "crs" out and add crs = "EPSG:..." to this layer.',
        )


def count_elements(content: bytes) -> int | None:
    """Count the elements of the list ``features``; None if there is no such list.

    >>> count_elements(b'{"features": [{"a": [1, 2]}, null, {"b": "},{"}]}')
    3
    """
    found = _FEATURES.search(content)
    if found is None:
        return None
    start, commas, depth, quoted, filled = found.end(), 0, 1, 0, False
    while depth and start < len(content):
        end = start + _PIECE
        while content[end - 1 : end] == b"\\":
            end += 1
        piece = content[start:end].replace(b"\\\\", b"  ").replace(b'\\"', b"  ")
        letters = np.frombuffer(piece, dtype="uint8")
        quotes = np.flatnonzero(letters == ord('"'))
        signs = np.flatnonzero(_IS_SIGN[letters])
        signs = signs[(np.searchsorted(quotes, signs) + quoted) % 2 == 0]
        depths = depth + np.cumsum(_STEP[letters[signs]], dtype="int64")
        ends = np.flatnonzero(depths == 0)
        last = ends[0] if len(ends) else len(depths)
        commas += int(np.sum((depths[:last] == 1) & (letters[signs[:last]] == ord(","))))
        filled = filled or bool(piece[: signs[last] if len(ends) else len(piece)].strip())
        depth = 0 if len(ends) else int(depths[-1]) if len(depths) else depth
        quoted = (quoted + len(quotes)) % 2
        start = end
    return commas + 1 if filled else 0


def odd_elements(content: bytes, needed: str) -> dict[int, str]:
    """Elements of ``features`` without the member `needed`: number from 1 -> what is there.

    >>> odd_elements(b'{"features": [{"type": "Feature"}, null]}', "type")
    {2: 'null'}
    """
    elements = json.loads(content)["features"]
    return {
        number: json.dumps(element)[:60]
        for number, element in enumerate(elements, start=1)
        if not isinstance(element, dict)
        or needed not in element
        or (needed == "type" and element["type"] != "Feature")
    }
