from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

Disk = Callable[..., Path]


@pytest.fixture
def quick(tmp_path: Path) -> Iterator[Path]:
    """Give a folder in memory where there is one: much is flushed to the disk in these tests."""
    memory = Path("/dev/shm")
    if not os.access(memory, os.W_OK):
        yield tmp_path
        return
    place = Path(tempfile.mkdtemp(dir=memory))
    yield place
    shutil.rmtree(place)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    """Give a function that mounts something; skip where that is not allowed.

    ``disk(name, "size=1m")`` makes a disk in memory, ``disk(name, bind=folder)`` shows a folder at
    a second place; ``disk(name, "ro")`` on one that is mounted makes it read-only.
    """
    mounted: list[Path] = []

    def mount(name: str, options: str = "", *, bind: Path | None = None) -> Path:
        place = tmp_path / name
        place.mkdir(exist_ok=True)
        command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)]
        if bind is not None:
            command = ["mount", "--bind", str(bind), str(place)]
        elif place in mounted:
            command = ["mount", "-o", f"remount,{options}", str(place)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            pytest.skip(f"no disk can be mounted here: {done.stderr.strip()}")
        if place not in mounted:
            mounted.append(place)
        return place

    if shutil.which("mount") is None:
        pytest.skip("no disk can be mounted here: there is no mount command")
    yield mount
    for place in reversed(mounted):
        subprocess.run(["umount", "-l", str(place)], capture_output=True, check=False)
