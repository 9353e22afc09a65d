"""``run.json``: what a run was made of, so that it can be repeated to the byte."""

from __future__ import annotations

import json
import platform
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

PACKAGES: Final = (
    "riskmap",
    "folium",
    "geopandas",
    "numba",
    "numpy",
    "pandas",
    "pyarrow",
    "pyflwdir",
    "pyogrio",
    "pyproj",
    "rasterio",
    "scikit-learn",
    "scipy",
    "shapely",
    "xlsxwriter",
    "XStatic-Leaflet",
)


def write_manifest(
    folder: Path,
    *,
    inputs: Mapping[str, str],
    settings: Mapping[str, Any],
    counts: Mapping[str, Any],
    seconds: Mapping[str, float],
    kept: Sequence[str] = (),
) -> None:
    """Write ``run.json`` into `folder`.

    Everything in it but ``kept`` and ``seconds`` is the same for the same inputs, settings and
    versions.

    Parameters
    ----------
    inputs
        File name -> SHA-256.
    settings, counts
        What was set and what came out.
    seconds
        Wall-clock seconds by stage.
    kept
        What people had changed in the result before this one, where it is kept now.
    """
    content = {
        "inputs_sha256": dict(inputs),
        "versions": {"python": platform.python_version()} | {p: version(p) for p in PACKAGES},
        "settings": dict(settings),
        "counts": dict(counts),
        "kept": list(kept),
        "seconds": {name: round(value, 3) for name, value in seconds.items()},
    }
    text = json.dumps(content, indent=1, ensure_ascii=False, default=str) + "\n"
    (folder / "run.json").write_text(text, encoding="utf-8", newline="\n")
