"""Kinds of system: one row holds all that the program knows of a kind."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from riskmap.contract.kinds import KINDS, SYSTEM_KINDS, kind_of
from riskmap.failure.aging import DEFAULT_AGING
from riskmap.failure.geometry import field_note, field_shape


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
class TestRows:
    def test_shares_and_bounds_hold(self, kind) -> None:
        after_10, after_20, why = kind.serving
        assert 1 > after_10 > after_20 > 0
        assert why
        removed, low, high, basis = kind.removed_frac
        assert 0 <= low <= removed <= high <= 1
        assert basis

    def test_it_has_a_field_or_says_why_not(self, kind) -> None:
        assert (kind.field is not None) or kind.note
        shape = field_shape([kind.name])
        if kind.field is None:
            assert np.isnan(shape.inlet_m[0])
        else:
            assert shape.inlet_m[0] == kind.field.inlet_m < kind.field.brim_m == shape.brim_m[0]
        assert field_note([kind.name])[0] == kind.note

    def test_its_curve_passes_through_its_shares(self, kind) -> None:
        curve = DEFAULT_AGING[kind.name]
        serving = np.exp(-((np.array([10.0, 20.0]) / curve.scale_yr) ** curve.shape))
        np.testing.assert_allclose(serving, kind.serving[:2], rtol=1e-12)


def test_anything_unheard_of_counts_as_unknown() -> None:
    assert kind_of(None).name == kind_of("spaceship").name == "unknown"


def test_a_kind_is_named_in_no_other_file_of_the_program() -> None:
    """A new kind touches one file; what it counts in the score stands in the scoring model."""
    here = Path(__file__).resolve().parents[1]
    telling = [
        name for name in SYSTEM_KINDS if name not in ("trench", "bed", "unknown", "mound", "drip")
    ]
    found = {
        str(path.relative_to(here))
        for path in (here / "riskmap").rglob("*.py")
        for name in telling
        if f'"{name}"' in _code(path)
    }
    assert found <= {
        "riskmap/contract/kinds.py",
        "riskmap/failure/geometry.py",  # forms of a field
        "riskmap/starting/codes.py",  # what offices write for a kind
    }


def _code(path: Path) -> str:
    """Text of a module without the lines of its examples."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return "\n".join(line for line in lines if not line.strip().startswith((">>>", "...")))
