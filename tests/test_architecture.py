"""The rooms of the house: who may import whom, and who may touch files."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

LEVELS = [
    {"contract"},
    {"spatial", "keeping", "outcomes"},
    {"data_pipelines"},
    {"inventory"},
    {"failure", "groundwater"},
    {"ranking", "condition"},
    {"action"},
    {"region"},
    {"stages"},
    {"publish"},
    {"results", "ending", "starting", "checking", "fetching"},
    {"running", "repeating", "backtesting"},
    {"season", "whatif", "statewide"},
    {"cli", "riskmap", "__main__", "handbook_place", "completion"},
]
LEVEL = {room: number for number, rooms in enumerate(LEVELS) for room in rooms}
COMPUTING = {"spatial", "inventory", "failure", "groundwater", "ranking", "condition", "action"}
FILE_MODULES = {"io", "os", "pathlib", "pyogrio", "rasterio", "shutil", "sqlite3", "tempfile"}
NO_FILES = ("rasterio.features.", "rasterio.transform.")
"""Parts of a file library that work on arrays alone."""
FILE_CALLS = {
    "open", "read_csv", "read_excel", "read_file", "read_parquet", "read_text", "read_bytes",
    "to_csv", "to_excel", "to_file", "to_parquet", "write_text", "write_bytes", "savefig",
    "loadtxt", "savetxt", "fromfile", "tofile", "urlopen",
}  # fmt: skip
FORBIDDEN_SCIENCE = {"geopandas", "folium", "data_pipelines", "rasterio", "pyogrio"}

REPO = Path(__file__).resolve().parents[1]
MODULES = sorted([*(REPO / "riskmap").rglob("*.py"), *(REPO / "data_pipelines").rglob("*.py")])


def room(path: Path) -> str:
    parts = path.relative_to(REPO).with_suffix("").parts
    if parts[0] == "data_pipelines":
        return "data_pipelines"
    return "riskmap" if parts[1] == "__init__" else parts[1]


def imported(tree: ast.AST) -> list[str]:
    names = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    return names


def room_of_import(name: str) -> str | None:
    parts = name.split(".")
    if parts[0] == "data_pipelines":
        return "data_pipelines"
    if parts[0] == "riskmap":
        return parts[1] if len(parts) > 1 and parts[1] in LEVEL else "riskmap"
    return None


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(REPO)))
def test_no_room_imports_upwards(path: Path) -> None:
    here = room(path)
    for name in imported(ast.parse(path.read_text(encoding="utf-8"))):
        there = room_of_import(name)
        if there is not None and there != here:
            assert LEVEL[there] <= LEVEL[here], f"{here} imports {name}"
            science = {"failure", "groundwater"}
            assert not (here in science and there in science), f"{here} imports {name}"


@pytest.mark.parametrize(
    "path", [p for p in MODULES if room(p) in COMPUTING], ids=lambda p: str(p.relative_to(REPO))
)
def test_computing_rooms_touch_no_file(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = [name for name in imported(tree) if not name.startswith(NO_FILES)]
    used = {name.split(".")[0] for name in names}
    assert not used & FILE_MODULES, f"imports {used & FILE_MODULES}"
    if room(path) not in ("inventory", "spatial"):
        assert not used & FORBIDDEN_SCIENCE, f"imports {used & FORBIDDEN_SCIENCE}"
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = getattr(node.func, "id", getattr(node.func, "attr", ""))
            assert called not in FILE_CALLS, f"line {node.lineno} calls {called}"


def test_no_file_grows_past_400_lines() -> None:
    files = [*MODULES, *(REPO / "tests").rglob("*.py"), *(REPO / "sample_region").rglob("*.py")]
    long = {str(p.relative_to(REPO)): n for p in files if (n := _lines(p)) > 400}
    assert not long


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def test_an_upward_import_would_be_seen() -> None:
    assert room_of_import("riskmap.ranking.score") == "ranking"
    assert LEVEL["ranking"] > LEVEL["inventory"]
    assert imported(ast.parse("from riskmap.publish import palette")) == ["riskmap.publish.palette"]
