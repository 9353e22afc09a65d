"""What a step of a run is: what it needs, what it gives or writes, and which settings it reads."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any, Final, Literal

LAYER: Final = "layer_"
"""What the name of a layer begins with among the things that stages give."""
CUTTING: Final = ("run.chunk_parcels", "run.workers")
"""Settings that any stage may read: they change how it works, never what it gives."""


@dataclass(frozen=True)
class Stage:
    """One step of a run.

    Parameters
    ----------
    name
        What it does, in plain words.
    work
        Where its function is, ``module:function``. It is called with the county (its region file
        and the layers named here) and then the things needed, in order; it returns the things
        given.
    gives
        Names of what it gives, in order.
    needs
        Names of things that earlier stages give.
    layers
        Names of the layers it reads.
    settings
        Settings it reads, as paths into :class:`riskmap.region.sections.Region`: a value, a whole
        section, or a file (its content counts). ``folder/file`` means one file of a folder.
    on
        Whether it works on the county at once, or on chunks of it side by side.
    fixed
        Further arguments, for a function that serves several stages.
    """

    name: str
    work: str
    gives: tuple[str, ...]
    needs: tuple[str, ...] = ()
    layers: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()
    on: Literal["county", "chunks"] = "county"
    fixed: Mapping[str, Any] = field(default_factory=dict)

    @property
    def all_needs(self) -> tuple[str, ...]:
        """All things it is made from: those needed, its layers, their reference system."""
        layers = tuple(f"{LAYER}{name}" for name in self.layers)
        return (*self.needs, *layers, *(("crs",) if layers and "crs" not in self.needs else ()))

    @property
    def module(self) -> str:
        """Module of its function."""
        return self.work.partition(":")[0]

    def function(self) -> Callable[..., Any]:
        """Return its function; only now is the module imported."""
        module, _, name = self.work.partition(":")
        found: Callable[..., Any] = getattr(import_module(module), name)
        return found


@dataclass(frozen=True)
class File:
    """A file of the result folder, or several that belong together.

    Parameters
    ----------
    path
        From the result folder. ``*`` stands for any part of a name, ``**`` for folders too.
    title, meaning
        What it is called and what it is for, as the front page and the handbook say it.
    unless
        When a run does not write it, in words; empty where every run does.
    linked
        Whether the front page links it.
    """

    path: str
    title: str
    meaning: str
    unless: str = ""
    linked: bool = True

    def holds(self, name: str) -> bool:
        """Tell whether a path of the result folder is this file, or one of these.

        >>> File("map/**", "Map", "").holds("map/data/a.js"), File("a.*", "", "").holds("b/a.js")
        (True, False)
        """
        parts = re.split(r"(\*\*|\*)", self.path)
        signs = {"**": ".*", "*": "[^/]*"}
        pattern = "".join(signs.get(part, re.escape(part)) for part in parts)
        return re.fullmatch(pattern, name) is not None


@dataclass(frozen=True)
class Output(Stage):
    """A step that writes files of the result folder; what it gives is their content.

    Its function is called with an empty folder and a :class:`riskmap.stages.result.Result` in which
    only what the output declares can be read.

    Parameters
    ----------
    files
        All files that it writes, in the order in which people want them.
    each_run
        Whether every run writes it again, last of all, because it holds what only that run
        knows. It then gets that knowledge as a third argument (:class:`RunFacts`).
    """

    files: tuple[File, ...] = ()
    each_run: bool = False


@dataclass(frozen=True)
class RunFacts:
    """What only one run knows.

    Parameters
    ----------
    written
        Paths in the result folder of all files written before.
    seconds
        Seconds that each step took in this run.
    kept
        What people had changed in the result before this one, where it is kept now.
    """

    written: tuple[str, ...] = ()
    seconds: Mapping[str, float] = field(default_factory=dict)
    kept: tuple[str, ...] = ()


def faults(stages: Sequence[Stage]) -> Iterator[str]:
    """Say what is wrong with the order of stages: needs not given earlier, things given twice.

    >>> list(faults([Stage("b", "m:b", ("y",), ("x",)), Stage("a", "m:a", ("x",))]))
    ['b needs x, which no earlier stage gives']
    """
    given: set[str] = set()
    for stage in stages:
        for name in stage.all_needs:
            if name not in given:
                yield f"{stage.name} needs {name}, which no earlier stage gives"
        for name in stage.gives:
            if name in given:
                yield f"{stage.name} gives {name}, which an earlier stage gives"
        given |= set(stage.gives)


def needed_for(things: Sequence[str], stages: Sequence[Stage]) -> list[Stage]:
    """Stages behind some things, in order.

    >>> plain, built = Stage("a", "m:f", ("a",)), Stage("b", "m:f", ("b",), ("a",))
    >>> [stage.name for stage in needed_for(["b"], [plain, built, Stage("c", "m:f", ("c",))])]
    ['a', 'b']
    """
    open_things = set(things)
    chosen = []
    for stage in reversed(stages):
        if open_things & set(stage.gives):
            chosen.append(stage)
            open_things |= set(stage.all_needs)
    return chosen[::-1]
