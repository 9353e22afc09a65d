"""The page of checks against published values, made of the tests as they run.

Every comparison with ``pytest.approx`` in ``tests/published`` is recorded: the published number,
ours, and the tolerance. Nothing is written down twice: the page says what the tests compared.
"""

from __future__ import annotations

import contextlib
import inspect
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

APPROX: Any = type(pytest.approx(1.0))
"""What one number is compared with; lists and tables are compared number by number."""
REPO = Path(__file__).resolve().parents[2]
PUBLISHED = REPO / "tests" / "published"

HEAD = """\
# Validation

What the tests in `tests/published` compared when this handbook was built: a published value, ours,
and the tolerance. A tolerance is a statement: half a unit of the last printed digit, or 1e-9 and
better for the same formula by another route. *Closest call* is the comparison that came nearest to
its tolerance. Sources are on [their page](docs/sources.md).
"""


@dataclass
class Check:
    """One test: what it says of itself, and all it compared: ours, published, tolerance."""

    says: str
    source: str
    passed: bool = False
    compared: list[tuple[float, float, float]] = field(default_factory=list)

    @property
    def closest(self) -> tuple[float, float, float] | None:
        """The comparison that came nearest to its tolerance."""
        used = [one for one in self.compared if one[2] > 0]
        return max(used, key=used_up, default=self.compared[0] if self.compared else None)


def used_up(one: tuple[float, float, float]) -> float:
    """Share of the tolerance that a comparison uses up.

    >>> used_up((1.04, 1.0, 0.05)) < 0.81
    True
    """
    ours, published, tolerance = one
    return abs(ours - published) / tolerance if tolerance else 0.0


class Collector:
    """Plugin of pytest that records comparisons, test by test."""

    def __init__(self) -> None:
        self.checks: dict[str, Check] = {}
        self._now: Check | None = None

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        """Run a test and note what it compares."""
        self._now = self.checks.setdefault(item.nodeid.split("[")[0], _described(item))
        with self._recording():
            result = yield
        self._now.passed = True
        self._now = None
        return result

    @contextmanager
    def _recording(self) -> Iterator[None]:
        plain = APPROX.__eq__

        def recorded(one: Any, actual: Any) -> bool:
            if self._now is not None:
                with contextlib.suppress(TypeError, ValueError):
                    self._now.compared.append(
                        (float(actual), float(one.expected), float(one.tolerance))
                    )
            return bool(plain(one, actual))

        APPROX.__eq__ = recorded
        try:
            yield
        finally:
            APPROX.__eq__ = plain


def _described(item: pytest.Item) -> Check:
    function = getattr(item, "function", None)
    kind = getattr(item, "cls", None)
    says = inspect.getdoc(function) or item.name.split("[")[0].removeprefix("test_").replace(
        "_", " "
    )
    about = (inspect.getdoc(kind) if kind is not None else "") or ""
    module = inspect.getdoc(item.module) if hasattr(item, "module") else ""
    return Check(_line(says[:1].upper() + says[1:]), _line(about or module or ""))


def _line(text: str) -> str:
    return " ".join(text.split("\n\n")[0].split()).replace("|", "\\|")


def run_checks(tests: Path = PUBLISHED) -> dict[str, Check]:
    """Run the tests against published values and return what each compared.

    Parameters
    ----------
    tests
        Folder or file of tests.

    Raises
    ------
    SystemExit
        If one of them fails.
    """
    collector = Collector()
    options = [str(tests), "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header", "-W",
               "ignore::pytest.PytestConfigWarning"]  # fmt: skip
    code = pytest.main(options, plugins=[collector])
    if code:
        raise SystemExit(f"tests/published failed ({code}): no page of checks is written")
    return collector.checks


def validation_page(checks: dict[str, Check]) -> str:
    """Write the page: a table for each file of tests."""
    lines = [HEAD]
    numbers = sum(len(check.compared) for check in checks.values())
    lines.append(f"{len(checks)} checks, {numbers:,} numbers compared.\n")
    files = dict.fromkeys(node.split("::")[0] for node in checks)
    for file in files:
        own = {node: check for node, check in checks.items() if node.split("::")[0] == file}
        title = Path(file).stem.removeprefix("test_").replace("_", " ")
        lines += [
            f"## {title.capitalize()}\n", f"{next(iter(own.values())).source}\n",
            "| what is checked | numbers | published | ours | tolerance | closest call |",
            "|---|---|---|---|---|---|",
            *map(_row, own.values()), "",
        ]  # fmt: skip
    return "\n".join(lines)


def _row(check: Check) -> str:
    said, closest = check.says, check.closest
    if closest is None:
        return f"| {said} | words, classes or tables | | | | |"
    ours, published, tolerance = closest
    share = "exact" if ours == published else f"{100 * used_up(closest):.0f}%"
    return (
        f"| {said} | {len(check.compared):,} | {published:.6g} | {ours:.6g} | {tolerance:.2g} | "
        f"{share} |"
    )
