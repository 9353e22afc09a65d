"""How doubt is put into words, the same on the map and on the lists."""

from __future__ import annotations

from typing import Final

RANGE_MEANING: Final = (
    "The range holds nine in ten of the values that the county's records leave open. A chance is "
    "no finding: it is what is seen, on the whole, of systems with the same on file."
)
