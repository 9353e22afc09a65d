"""Builds the handbook as pages that need no network: ``python -m docs.site.build OUT``.

The pages are those of this folder, plus three that are made here: the contents, the gallery of
pictures, and the checks against published values. Every warning is an error.
"""

from __future__ import annotations

import argparse
import re
import shutil
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Final

SITE: Final = Path(__file__).resolve().parent
REPO: Final = SITE.parents[1]
BESIDE: Final = (
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "SECURITY.md", "LICENSE", "CITATION.cff",
    "benchmarks/README.md", "sample_region/README.md", "riskmap/ranking/scoring_model.toml",
)  # fmt: skip
"""Pages and files outside the folder ``docs`` that its pages lead to."""
CHAPTERS: Final[Mapping[str, tuple[str, ...]]] = {
    "Start": (
        "What riskmap is <README>", "Where to look <docs/index>", "docs/first_day",
        "docs/fetching",
    ),
    "By who you are": ("docs/users/*",),
    "Layers": ("docs/layers/*", "docs/region_file"),
    "Methods": ("docs/methods/*", "gallery", "validation"),
    "Outputs": ("docs/outputs/*",),
    "More": (
        "docs/conventions", "docs/errors", "docs/python", "docs/steps", "docs/sources",
        "docs/threats", "docs/decisions/*", "DEVELOPERS", "CHANGELOG", "SECURITY",
        "benchmarks/README", "sample_region/README",
    ),
}  # fmt: skip


def compose(source: Path, *, validation: str) -> None:
    """Lay the pages out in a folder as in the repository, with those that are made here.

    Parameters
    ----------
    source
        Folder to fill.
    validation
        The page of checks.
    """
    ignored = shutil.ignore_patterns("site", "__pycache__")
    shutil.copytree(REPO / "docs", source / "docs", ignore=ignored)
    for name in BESIDE:
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(REPO / name, source / name)
    steps = source / "docs" / "steps.md"
    steps.write_text(_without_picture(steps.read_text(encoding="utf-8")), encoding="utf-8")
    (source / "index.md").write_text(contents_page(source), encoding="utf-8")
    (source / "gallery.md").write_text(gallery_page(), encoding="utf-8")
    (source / "validation.md").write_text(validation, encoding="utf-8")


def _without_picture(text: str) -> str:
    """Leave out a chart that only a page on the web can draw; the table below it says the same."""
    kept = re.sub(r"```mermaid\n.*?```\n", "", text, flags=re.DOTALL)
    return re.sub(r"An arrow leads from .*? is left out\.\n", "", kept, flags=re.DOTALL)


def contents_page(source: Path) -> str:
    """Write the first page: all pages by chapter."""
    lines = [
        "# Handbook of riskmap",
        "",
        "Begin with [a county's first day](docs/first_day.md).",
        "",
    ]
    for title, patterns in CHAPTERS.items():
        pages = [page for pattern in patterns for page in _pages(source, pattern)]
        lines += ["```{toctree}", ":maxdepth: 1", f":caption: {title}", "", *pages, "```", ""]
    return "\n".join(lines)


def _pages(source: Path, pattern: str) -> list[str]:
    if "*" not in pattern:
        return [pattern]
    found = sorted(source.glob(f"{pattern}.md"))
    return [page.relative_to(source).with_suffix("").as_posix() for page in found]


def gallery_page() -> str:
    """Write the page of all pictures, each with the method that it shows."""
    lines = ["# Gallery", "", "Drawn by the project's own functions; each leads to its method.", "",
             '<div class="gallery">', ""]  # fmt: skip
    for page in sorted((REPO / "docs" / "methods").glob("*.md")):
        text = page.read_text(encoding="utf-8")
        title = text.splitlines()[0].removeprefix("# ")
        for words, name in re.findall(r"!\[([^\]]*)\]\(\.\./pictures/([\w.]+)\)", text):
            card = f"**[{title}](docs/methods/{page.name})**"
            lines += ["<div>", "", card, "", f"![{words}](docs/pictures/{name})", "", "</div>", ""]
    return "\n".join([*lines, "</div>", ""])


def build(out: Path, *, validation: str) -> int:
    """Build all pages into a folder; returns 0, or 1 if there was a warning.

    Parameters
    ----------
    out
        Folder of the pages; ``index.html`` is the first.
    validation
        The page of checks.
    """
    from sphinx.cmd.build import build_main

    with tempfile.TemporaryDirectory() as folder:
        source, kept = Path(folder) / "source", Path(folder) / "kept"
        compose(source, validation=validation)
        options = ["-W", "--keep-going", "-q", "-b", "html", "-c", str(SITE), "-d", str(kept)]
        return build_main([*options, str(source), str(out)])


def main() -> int:
    """Run the checks, then build."""
    from docs.site.validation import run_checks, validation_page

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, metavar="OUT", help="folder of the pages")
    return build(parser.parse_args().out, validation=validation_page(run_checks()))


if __name__ == "__main__":
    sys.exit(main())
