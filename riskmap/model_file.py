"""The scoring-model file: the county's own, or the one that comes with the program."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path
from typing import Any

from riskmap.errors import ModelError
from riskmap.ranking.model import Model, parse_model


def model_text(path: Path | None = None) -> str:
    """Text of a scoring-model file; None for the one that comes with the program."""
    if path is None:
        return files("riskmap.ranking").joinpath("scoring_model.toml").read_text(encoding="utf-8")
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise ModelError(f"{path}: the scoring model cannot be read ({error.strerror}).") from error


def model_content(text: str, name: str = "scoring model") -> dict[str, Any]:
    """Tables of a scoring-model file."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ModelError(f"{name}: not valid TOML: {error}. Correct the place named.") from error


def read_model(path: Path | None = None, *, features: Iterable[str] | None = None) -> Model:
    """Read and check a scoring model.

    Raises
    ------
    ModelError
        Naming the key at fault, or the file that cannot be read.
    """
    return parse_model(model_content(model_text(path), str(path)), features=features)
