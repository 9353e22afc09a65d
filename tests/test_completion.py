"""Completion in a shell, tried in the shell itself."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from riskmap import cli
from riskmap.completion import SHELLS


def offered(folder: Path, words: list[str]) -> set[str]:
    """What bash offers for the last of some words, in a folder."""
    line = " ".join(f"'{word}'" for word in words)
    work = (
        f"source ./complete.sh; COMP_WORDS=({line}); COMP_CWORD={len(words) - 1};"
        " name=$(complete -p riskmap | sed 's/.*-F \\([^ ]*\\).*/\\1/');"
        f" $name riskmap '{words[-1]}' '{words[-2]}'; printf '%s\\n' \"${{COMPREPLY[@]}}\""
    )
    done = subprocess.run(
        ["bash", "-c", work], cwd=folder, capture_output=True, text=True, check=True
    )
    return set(done.stdout.split())


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not on this machine")
def test_commands_options_and_files_are_completed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["completion", "bash"]) == 0
    (tmp_path / "complete.sh").write_text(capsys.readouterr().out)
    (tmp_path / "region.toml").touch()
    assert offered(tmp_path, ["riskmap", "che"]) == {"check"}
    assert "--strict" in offered(tmp_path, ["riskmap", "check", "--s"])
    assert "region.toml" in offered(tmp_path, ["riskmap", "check", "reg"])


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_has_its_script(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["completion", shell]) == 0
    assert "riskmap" in capsys.readouterr().out


def test_another_shell_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["completion", "xyz"]) == 2
    assert "Use one of bash" in capsys.readouterr().err
