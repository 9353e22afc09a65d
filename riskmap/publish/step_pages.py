"""Pages of the handbook drawn from the lists of stages and outputs: steps of a run, its files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from riskmap.publish.outputs import OUTPUTS, SUMMARY
from riskmap.stages.order import STAGES
from riskmap.stages.stage import Output, Stage

STEPS: Final = (*STAGES, SUMMARY, *OUTPUTS)
READ: Final = "read"
"""How stages that read one source each begin; the picture shows them as one."""

_STEPS_HEAD: Final = """\
# The steps of a run

Drawn from `riskmap/stages/order.py` and `riskmap/publish/outputs.py` by `python docs/generate.py`.

A step is done again only when something changed that it is made from: its code, the settings it
reads, or the content of what it needs. All else is taken from `.riskmap` beside the region file.
An arrow leads from a step to one that needs what it gives; where a way over another step says the
same, the short arrow is left out.
"""
_FILES_HEAD: Final = """\
# The files of a result

Drawn from `riskmap/publish/outputs.py` by `python docs/generate.py`. `*` stands for any part of a
name, `**` for folders too. What a run wrote, and what it did not write and why, stands in its
`run.json` under `outputs`.
"""


def steps_page() -> str:
    """Return ``docs/steps.md``: the picture of the steps, and a table of what each needs."""
    rows = [
        f"| {step.name} | {_words(step.needs)} | {_words(step.layers)} | {_words(step.settings)} | "
        f"{_gives(step)} |"
        for step in STEPS
    ]
    table = ["| step | needs | layers | settings | gives |", "|---|---|---|---|---|", *rows]
    return "\n".join([_STEPS_HEAD, picture(), "", *table, ""])


def files_page() -> str:
    """Return ``docs/outputs/files.md``: every file of a result with what it is for."""
    rows = [
        f"| `{file.path}` | {file.title} | {file.meaning} | {file.unless or 'always written'} |"
        for output in OUTPUTS
        for file in output.files
    ]
    head = [
        "| file | what it is called | what it is for | not written where |",
        "|---|---|---|---|",
    ]
    return "\n".join([_FILES_HEAD, *head, *rows, ""])


def picture(steps: Sequence[Stage] = STEPS) -> str:
    """Return the picture of the steps as a Mermaid flow chart.

    >>> one, two = Stage("a", "m:f", ("x",)), Output("b", "m:f", ("files_b",), ("x",))
    >>> print(picture([one, two]))
    ```mermaid
    flowchart LR
      s0["a"]
      s1(["b"])
      s0 --> s1
    ```
    """
    names = list(dict.fromkeys(map(_drawn, steps)))
    writes = {_drawn(step) for step in steps if isinstance(step, Output)}
    number = {name: f"s{place}" for place, name in enumerate(names)}
    boxes = [f'{number[n]}(["{n}"])' if n in writes else f'{number[n]}["{n}"]' for n in names]
    behind = _behind(steps)
    arrows = [
        f"{number[before]} --> {number[name]}"
        for name in names
        for before in names
        if before in behind[name]
        and not any(before in behind[between] for between in behind[name] if between in behind)
    ]
    return "\n".join(["```mermaid", "flowchart LR", *(f"  {t}" for t in [*boxes, *arrows]), "```"])


def _behind(steps: Sequence[Stage]) -> Mapping[str, set[str]]:
    """All boxes behind each box, near and far."""
    giver = {name: _drawn(step) for step in steps for name in step.gives}
    behind: dict[str, set[str]] = {}
    for step in steps:
        near = {giver[name] for name in step.all_needs if name in giver} - {_drawn(step)}
        far = set().union(*(behind[name] for name in near))
        behind.setdefault(_drawn(step), set()).update(near | far)
    return behind


def _drawn(step: Stage) -> str:
    """Name of the box of a step."""
    return "read the files" if step.name.startswith(READ) else step.name


def _gives(step: Stage) -> str:
    if isinstance(step, Output):
        return ", ".join(f"`{file.path}`" for file in step.files)
    return _words(step.gives)


def _words(names: Sequence[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)
