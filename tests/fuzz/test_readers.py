"""Whatever is done to its files, a reader gives rows and told defects, or one clear error."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from data_pipelines.registry import READERS
from tests.damage.outcomes import cases
from tests.fuzz.blows import KINDS, strike
from tests.fuzz.damage import Blow
from tests.fuzz.hand_written import HAND_WRITTEN
from tests.fuzz.judge import faults, read
from tests.fuzz.season_files import SEASON
from tests.fuzz.targets import TARGETS, AbsentError, Outcome, Target, Workshop

CASES: Final = cases(2000)
"""Cases that all targets get together."""

ALL: Final = {**TARGETS, **HAND_WRITTEN, **SEASON}

pytestmark = pytest.mark.fuzz

SHARED: Final = Path(__file__).resolve().parents[3] / "shared" / "data"


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    return Workshop(tmp_path_factory.mktemp("workshop"), SHARED)


def blows(form: str) -> st.SearchStrategy[list[Blow]]:
    """One to three blows that suit files of a form."""
    share = st.floats(0, 1, exclude_max=True, width=32)
    blow = st.builds(Blow, st.sampled_from(KINDS[form]), share, share, st.integers(0, 10**6))
    return st.lists(blow, min_size=1, max_size=3)


def test_no_reader_is_left_out() -> None:
    assert {name.partition(",")[0].replace(" ", "_") for name in TARGETS} >= READERS.keys()


@pytest.mark.parametrize("name", ALL)
def test_every_case_ends_in_rows_and_defects_or_in_one_error(
    name: str, workshop: Workshop, tmp_path: Path
) -> None:
    try:
        target = ALL[name](workshop)
    except AbsentError as reason:
        pytest.skip(str(reason))
    sound = read(target, target.files, tmp_path / "sound")
    assert isinstance(sound, Outcome), f"the undamaged files are refused: {sound}"
    check(target, sound, tmp_path / "damaged")


def check(target: Target, sound: Outcome, folder: Path) -> None:
    """Strike and read as often as one target is due."""

    @seed(CASES.start)
    @settings(
        max_examples=max(1, len(CASES) // len(ALL)),
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(blows(target.form))
    def case(struck: list[Blow]) -> None:
        damaged = strike(target.files, target.main, struck)
        assert not faults(target, sound, damaged, read(target, damaged.files, folder))

    case()
