from __future__ import annotations

import itertools

import numpy as np
import pytest

from riskmap.publish import palette

# Viénot, Brettel & Mollon 1999 (Color Research and Application 24:243-252), as linear-RGB
# matrices; values from memory. Tritanopia is not covered by their method.
PROTAN = np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]])
DEUTAN = np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]])
RAMP = [palette.CLASS_COLOURS[word] for word in palette.CLASSES]


def _linear(colour: str) -> np.ndarray:
    share = np.array(palette.channels(colour)) / 255
    return np.where(share <= 0.03928, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def _lightness(linear: np.ndarray) -> float:
    share = float(np.clip(linear, 0, 1) @ [0.2126, 0.7152, 0.0722])
    return 116 * share ** (1 / 3) - 16


class TestOrder:
    def test_lightness_rises_from_very_high_to_very_low(self) -> None:
        steps = np.diff([palette.lightness(colour) for colour in RAMP])
        assert steps.min() > 12

    @pytest.mark.parametrize("eye", [PROTAN, DEUTAN], ids=["protan", "deutan"])
    def test_order_survives_colour_blind_eyes(self, eye: np.ndarray) -> None:
        steps = np.diff([_lightness(eye @ _linear(colour)) for colour in RAMP])
        assert steps.min() > 8

    def test_lightness_against_matplotlib_free_formula(self) -> None:
        assert palette.lightness("#ffffff") == pytest.approx(100)
        assert palette.lightness("#000000") == 0
        assert palette.lightness("#777777") == pytest.approx(50.03, abs=0.01)  # CIE L*, hand sum

    def test_not_ranked_is_grey_and_apart_from_every_class(self) -> None:
        red, green, blue = palette.channels(palette.CLASS_COLOURS[palette.NOT_RANKED])
        assert max(red, green, blue) - min(red, green, blue) <= 12
        for colour in RAMP:
            assert max(palette.channels(colour)) - min(palette.channels(colour)) > 40

    def test_no_two_colours_are_the_same(self) -> None:
        for first, second in itertools.combinations(palette.CLASS_COLOURS.values(), 2):
            assert first != second

    def test_a_colour_is_written_in_six_digits(self) -> None:
        with pytest.raises(ValueError, match="#rrggbb"):
            palette.channels("#fff")
