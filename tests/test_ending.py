"""How a command ends: exit codes, messages, the traceback of a bug."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from riskmap.cli import main
from riskmap.contract.errors import OutputError
from riskmap.ending import run_to_end, where_to_report


def fail(error: BaseException) -> Callable[[], int]:
    def command() -> int:
        raise error

    return command


def test_an_error_of_the_input_is_told_without_a_traceback(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run_to_end(fail(OutputError("there: not so."))) == 2
    assert capsys.readouterr().err == "\nOutputError: there: not so.\n"


class TestBug:
    @pytest.fixture(autouse=True)
    def _elsewhere(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.chdir(tmp_path)

    def test_it_says_so_and_keeps_the_traceback(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run_to_end(fail(KeyError("mukey"))) == 1
        (kept,) = tmp_path.iterdir()
        text = kept.read_text()
        assert "raise error" in text
        assert "KeyError: 'mukey'" in text
        assert text.startswith("riskmap ")
        said = capsys.readouterr().err
        assert said.startswith("\nThis is a bug in riskmap (KeyError: 'mukey'). The details are in")
        assert str(kept) in said
        assert "Please send them to those who maintain riskmap for you" in said
        assert "Traceback" not in said
        assert said.count("\n") == 2

    def test_debug_shows_the_traceback(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert run_to_end(fail(KeyError("mukey")), debug=True) == 1
        assert "Traceback (most recent call last)" in capsys.readouterr().err

    def test_debug_can_be_given_to_every_command(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["check", "none.toml", "--debug"]) == 2
        said = capsys.readouterr().err
        assert "Traceback (most recent call last)" in said
        assert "RegionError: none.toml" in said

    def test_a_folder_that_cannot_be_written(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """The folder one stands in is gone: the traceback goes to the temporary files."""
        gone, spare = tmp_path / "gone", tmp_path / "spare"
        gone.mkdir()
        spare.mkdir()
        monkeypatch.chdir(gone)
        gone.rmdir()
        monkeypatch.setattr("tempfile.tempdir", str(spare))
        assert run_to_end(fail(KeyError("mukey"))) == 1
        (kept,) = spare.iterdir()
        assert str(kept) in capsys.readouterr().err
        monkeypatch.chdir(tmp_path)

    def test_no_place_for_it_at_all(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        gone = tmp_path / "gone"
        gone.mkdir()
        monkeypatch.chdir(gone)
        gone.rmdir()
        monkeypatch.setattr("tempfile.tempdir", str(gone))
        assert run_to_end(fail(KeyError("mukey"))) == 1
        assert "--debug shows the details." in capsys.readouterr().err
        monkeypatch.chdir(tmp_path)

    def test_a_message_of_many_lines_and_odd_letters(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run_to_end(fail(ValueError("one\ntwo \udce9"))) == 1
        assert "two \\udce9" in next(tmp_path.iterdir()).read_text()
        assert "(ValueError: one)." in capsys.readouterr().err

    def test_where_to_report_it(self) -> None:
        urls = ["Homepage, https://example.org", "Issues, https://example.org/issues"]
        assert "https://example.org/issues" in where_to_report(urls)
        assert "those who maintain riskmap" in where_to_report(urls[:1])


class TestNoBug:
    def test_memory(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert run_to_end(lambda: int(np.empty(1 << 58, np.uint8)[0])) == 2
        said = capsys.readouterr().err
        assert "memory is used up" in said
        assert "chunk_parcels" in said

    @pytest.mark.parametrize(
        ("number", "words"), [(errno.ENOSPC, "the disk is full"), (errno.EACCES, "no right to")]
    )
    def test_the_machine(self, number: int, words: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert run_to_end(fail(OSError(number, os.strerror(number), "model.toml"))) == 2
        said = capsys.readouterr().err
        assert said.startswith("\nmodel.toml: ")
        assert words in said

    @pytest.mark.skipif(os.name != "posix", reason="a pipe is closed in another way there")
    def test_a_reader_that_has_had_enough(self) -> None:
        code = (
            "from riskmap.cli import _say; from riskmap.ending import run_to_end; import sys\n"
            "sys.exit(run_to_end(lambda: [_say('x' * 1000) for _ in range(1000)] and 0))"
        )
        one = subprocess.Popen(
            [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert one.stdout is not None
        assert one.stderr is not None
        one.stdout.read(10)
        one.stdout.close()
        assert one.stderr.read() == ""
        assert one.wait() == 141
        one.stderr.close()


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX systems")
class TestStopped:
    def swallow(self, *, into: type[BaseException] | None = None) -> int:
        """Swallow whatever is raised, once; then work on."""
        try:
            os.kill(os.getpid(), signal.SIGINT)
        except BaseException as error:
            if into is not None:
                raise into from error
        for _ in range(500):
            time.sleep(0.01)
        return 0

    def test_what_swallows_it_is_asked_again(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert run_to_end(self.swallow) == 130
        assert capsys.readouterr().err.startswith("\nStopped by Ctrl-C.")

    def test_what_makes_an_error_of_it_is_no_bug(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert run_to_end(lambda: self.swallow(into=ImportError)) == 130
        assert capsys.readouterr().err.count("\n") == 2

    def test_the_handlers_are_put_back(self) -> None:
        numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGALRM)
        before = [signal.getsignal(number) for number in numbers]
        run_to_end(self.swallow)
        assert [signal.getsignal(number) for number in numbers] == before
        assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)

    def test_a_job_that_ignores_them_goes_on(self) -> None:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            assert run_to_end(lambda: os.kill(os.getpid(), signal.SIGINT) or 0) == 0
        finally:
            signal.signal(signal.SIGINT, before)
