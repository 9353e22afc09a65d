"""``run.json``: what a run was made of, so that it can be repeated to the byte."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from riskmap.contract.versions import package_versions
from riskmap.publish.outputs import OUTPUTS
from riskmap.region.read import settings_in_force, sources_in_force
from riskmap.stages.result import Result
from riskmap.stages.stage import RunFacts


def run_record(folder: Path, result: Result, facts: RunFacts) -> None:
    """Write ``run.json``.

    Everything in it but ``region_file``, ``kept`` and ``seconds`` is the same for the same inputs,
    settings and versions.

    Parameters
    ----------
    folder
        The result folder.
    result
        Gives inputs, settings and counts.
    facts
        Files written, files kept, and seconds of each stage.
    """
    summary, region = result.things["summary"], result.region
    settings = {
        "in_force": settings_in_force(region),
        "layers": sources_in_force(region),
        **summary["settings"],
    }
    content = {
        "region_file": str(region.path.resolve()),
        "inputs_sha256": dict(result.inputs),
        "fetched": list(result.fetched),
        "versions": package_versions(),
        "settings": settings,
        "counts": summary["counts"],
        "outputs": written_by(facts.written),
        "kept": list(facts.kept),
        "seconds": {name: round(value, 3) for name, value in facts.seconds.items()},
    }
    write_record(folder, content)


def write_record(folder: Path, content: Mapping[str, Any]) -> None:
    """Write a run's record as JSON: dates and paths as text, the rest as it is."""
    text = json.dumps(content, indent=1, ensure_ascii=False, default=str) + "\n"
    (folder / "run.json").write_text(text, encoding="utf-8", newline="\n")


def written_by(written: tuple[str, ...]) -> dict[str, dict[str, Any]]:
    """List each output's files as declared: how many were written, or when none is."""
    said: dict[str, dict[str, Any]] = {}
    for output in OUTPUTS:
        for file in output.files:
            count = sum(file.holds(path) for path in written)
            if not output.each_run:
                said[file.path] = {"title": file.title, "files": count}
                if not count:
                    said[file.path]["not_written"] = file.unless
    return said
