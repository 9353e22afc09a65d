"""Draws the pictures of the handbook again: ``python -m docs.pictures.make_all``."""

from __future__ import annotations

import sys
from pathlib import Path

import docs.pictures.make_condition
import docs.pictures.make_failure
import docs.pictures.make_groundwater
import docs.pictures.make_learning
import docs.pictures.make_lot
import docs.pictures.make_public
import docs.pictures.make_ranking
import docs.pictures.make_zones  # noqa: F401
from docs.pictures.board import PICTURES

FOLDER = Path(__file__).resolve().parent

if __name__ == "__main__":
    for name in sys.argv[1:] or sorted(PICTURES):
        (FOLDER / f"{name}.svg").write_text(PICTURES[name]().svg + "\n", encoding="utf-8")
