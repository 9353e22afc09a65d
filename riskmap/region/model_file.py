"""The scoring-model file: the county's own, or the one that comes with the program."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import MISSING, fields
from importlib.resources import files
from pathlib import Path
from typing import Any

from riskmap.contract.columns import Column
from riskmap.contract.errors import ModelError
from riskmap.ranking.model import Factor, Model, parse_model
from riskmap.region.toml_file import decoded, read_small, toml_tables


def model_text(path: Path | None = None) -> str:
    """Text of a scoring-model file; None for the one that comes with the program."""
    if path is None:
        return files("riskmap.ranking").joinpath("scoring_model.toml").read_text(encoding="utf-8")
    return decoded(read_small(path, "the scoring model", ModelError), str(path), ModelError)


def model_content(text: str, name: str = "scoring model") -> dict[str, Any]:
    """Tables of a scoring-model file."""
    return toml_tables(text, name, ModelError)


def read_model(path: Path | None = None, *, features: Mapping[str, Column] | None = None) -> Model:
    """Read and check a scoring model.

    Raises
    ------
    ModelError
        Naming the key at fault, or the file that cannot be read.
    """
    return parse_model(model_content(model_text(path), str(path)), features=features)


def model_toml(model: Model, *, about: str = "") -> str:
    """Write a model as the text of a scoring-model file that reads back as the same model.

    Sources and reasons are kept, comments of the file that the model was read from are not.

    Parameters
    ----------
    about
        Words for the comment on top.

    >>> read = parse_model(model_content(model_text()))
    >>> parse_model(model_content(model_toml(read))) == read
    True
    """
    lines = [f"# {line}".rstrip() for line in about.splitlines()]
    numbers = [field.name for field in fields(Model) if field.type in ("float", float)]
    lines += ["", f"name = {_quoted(model.name)}"] if lines else [f"name = {_quoted(model.name)}"]
    lines += [f"{name} = {_number(getattr(model, name))}" for name in numbers]
    for factor in model.factors:
        lines += ["", "[[factor]]", *_factor_lines(factor)]
    return "\n".join(lines) + "\n"


def write_model(model: Model, path: Path, *, about: str = "") -> None:
    """Write a scoring-model file that ``riskmap run`` takes.

    Parameters
    ----------
    model
        The scoring model.
    path
        File to write; one that is there is replaced.
    about
        Comment at the head of the file.

    Raises
    ------
    ModelError
        If the file cannot be written.
    """
    try:
        path.write_text(model_toml(model, about=about), encoding="utf-8", newline="\n")
    except OSError as error:
        raise ModelError(f"{path}: cannot be written ({error.strerror}).") from error


def _factor_lines(factor: Factor) -> list[str]:
    lines = []
    for field in fields(Factor):
        value = getattr(factor, field.name)
        if field.name == "curve" and value:
            points = ", ".join(f"[{_number(x)}, {_number(y)}]" for x, y in value)
            lines.append(f"curve = [{points}]")
        elif field.name == "table" and value:
            words = ", ".join(f"{_quoted(word)} = {_number(y)}" for word, y in value)
            lines.append(f"table = {{ {words} }}")
        elif isinstance(value, int | float):
            lines.append(f"{field.name} = {_number(value)}")
        elif isinstance(value, str) and (value or field.default is MISSING):
            lines.append(f"{field.name} = {_quoted(value)}")
    return lines


def _number(value: float) -> str:
    """Shortest text that reads back as the same number (TOML takes Python's exponents)."""
    return repr(float(value))


def _quoted(text: str) -> str:
    """Quote a text: JSON's escapes are TOML's, but for one sign that TOML requires escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
