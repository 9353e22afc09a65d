from __future__ import annotations

from pathlib import Path

import pytest

from riskmap.contract.errors import OutputError
from riskmap.publish.result_folder import MARK, result_folder


def test_folder_appears_whole(tmp_path: Path) -> None:
    target = tmp_path / "deep" / "result"
    with result_folder(target) as part:
        (part / MARK).write_text("{}")
        assert not target.exists()
    assert (target / MARK).exists()
    assert [path.name for path in target.parent.iterdir()] == ["result"]


def write_half(target: Path) -> None:
    with result_folder(target) as part:
        (part / MARK).write_text("second")
        raise ZeroDivisionError


def test_failure_leaves_the_earlier_result(tmp_path: Path) -> None:
    target = tmp_path / "result"
    with result_folder(target) as part:
        (part / MARK).write_text("first")
    with pytest.raises(ZeroDivisionError):
        write_half(target)
    assert (target / MARK).read_text() == "first"
    assert [path.name for path in tmp_path.iterdir()] == ["result"]


def test_earlier_result_is_replaced(tmp_path: Path) -> None:
    target = tmp_path / "result"
    for text in ("first", "second"):
        with result_folder(target) as part:
            (part / MARK).write_text(text)
            (part / text).touch()
    assert sorted(path.name for path in target.iterdir()) == [MARK, "second"]
    assert (target / MARK).read_text() == "second"


def test_foreign_files_are_kept(tmp_path: Path) -> None:
    (tmp_path / "thesis.doc").write_text("years of work")
    with pytest.raises(OutputError, match="did not make"), result_folder(tmp_path):
        pass
    with pytest.raises(OutputError, match="is a file"), result_folder(tmp_path / "thesis.doc"):
        pass
    assert (tmp_path / "thesis.doc").read_text() == "years of work"
