"""Writes the generated pages of the handbook again: ``python docs/generate.py``."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from riskmap.contract.dictionary import data_dictionary
from riskmap.contract.unit_names import units_page
from riskmap.publish.column_pages import columns_page
from riskmap.publish.step_pages import files_page, steps_page
from riskmap.region.page import region_file_page
from riskmap.starting.layer_pages import layers_with_pages, with_written_part
from riskmap.starting.open_sources import where_to_get_page

DOCS = Path(__file__).resolve().parent


def layer_page(name: str) -> str:
    """Return a layer's page with the part that is written from the declarations made anew."""
    page = (DOCS / "layers" / f"{name}.md").read_text(encoding="utf-8")
    return with_written_part(page, name)


PAGES = {
    **{f"layers/{name}.md": partial(layer_page, name) for name in layers_with_pages()},
    "layers/dictionary.md": data_dictionary,
    "layers/units.md": units_page,
    "layers/where.md": where_to_get_page,
    "region_file.md": region_file_page,
    "steps.md": steps_page,
    "outputs/files.md": files_page,
    "outputs/columns.md": columns_page,
}

if __name__ == "__main__":
    for name, write in PAGES.items():
        (DOCS / name).write_text(write(), encoding="utf-8", newline="\n")
