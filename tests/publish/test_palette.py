from __future__ import annotations

import itertools

import numpy as np
import pytest

from riskmap.contract.vocabulary import CLASSES, NOT_RANKED
from riskmap.publish import palette

# Viénot, Brettel & Mollon 1999 (Color Research and Application 24:243-252), as linear-RGB
# matrices; values from memory. Tritanopia is not covered by their method.
PROTAN = np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]])
DEUTAN = np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]])
RAMP = [palette.CLASS_COLORS[word] for word in CLASSES]


# Machado, Oliveira & Fernandes 2009 (IEEE Transactions on Visualization and Computer Graphics
# 15:1291-1298), severity 1.0, for linear RGB; values from memory.
MACHADO = {
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                            [0.004733, 0.691367, 0.303900]]),
    "usual": np.eye(3),
}  # fmt: skip
# sRGB to CIE XYZ, D65 (IEC 61966-2-1).
XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip
KEYS = {
    "classes": RAMP,
    "states": list(palette.STAGE_COLORS.values()),
    "soils": [c for word, c in palette.SOIL_COLORS.items() if word != "not rated"],
    "floods": list(palette.FLOOD_COLORS.values()),
}
APART = 10.0
"""CIEDE2000 between neighbors of a key; 1 is about the least that is seen side by side, and 10 is
told apart at a glance (common practice, no source)."""


def _lab(linear: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* (CIE 15:2004) under D65."""
    share = XYZ @ np.clip(linear, 0, 1) / (XYZ @ np.ones(3))
    root = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def ciede2000(first: np.ndarray, second: np.ndarray) -> float:
    """Color difference CIEDE2000 (CIE 142-2001), as Sharma, Wu & Dalal 2005 write it."""
    (l1, a1, b1), (l2, a2, b2) = first, second
    mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean**7 / (mean**7 + 25.0**7)))
    c1, c2 = np.hypot((1 + g) * a1, b1), np.hypot((1 + g) * a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, (1 + g) * a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    turn = 0.0 if c1 * c2 == 0 else (h2 - h1 + 180) % 360 - 180
    middle = h1 + h2 if c1 * c2 == 0 else (h1 + turn / 2) % 360
    dl, dc, dh = l2 - l1, c2 - c1, 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * np.cos(np.radians(middle - 30))
        + 0.24 * np.cos(np.radians(2 * middle))
        + 0.32 * np.cos(np.radians(3 * middle + 6))
        - 0.20 * np.cos(np.radians(4 * middle - 63))
    )
    sl = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    sc, sh = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    rc = 2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    rt = -np.sin(np.radians(60 * np.exp(-(((middle - 275) / 25) ** 2)))) * rc
    dl, dc, dh = dl / sl, dc / sc, dh / sh
    return float(np.sqrt(dl**2 + dc**2 + dh**2 + rt * dc * dh))


def _linear(color: str) -> np.ndarray:
    share = np.array(palette.channels(color)) / 255
    return np.where(share <= 0.03928, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def _lightness(linear: np.ndarray) -> float:
    share = float(np.clip(linear, 0, 1) @ [0.2126, 0.7152, 0.0722])
    return 116 * share ** (1 / 3) - 16


class TestOrder:
    def test_lightness_rises_from_very_high_to_very_low(self) -> None:
        steps = np.diff([palette.lightness(color) for color in RAMP])
        assert steps.min() > 12

    @pytest.mark.parametrize("eye", [PROTAN, DEUTAN], ids=["protan", "deutan"])
    def test_order_survives_color_blind_eyes(self, eye: np.ndarray) -> None:
        steps = np.diff([_lightness(eye @ _linear(color)) for color in RAMP])
        assert steps.min() > 8

    def test_lightness_against_matplotlib_free_formula(self) -> None:
        assert palette.lightness("#ffffff") == pytest.approx(100)
        assert palette.lightness("#000000") == 0
        assert palette.lightness("#777777") == pytest.approx(50.03, abs=0.01)  # CIE L*, hand sum

    def test_not_ranked_is_gray_and_apart_from_every_class(self) -> None:
        red, green, blue = palette.channels(palette.CLASS_COLORS[NOT_RANKED])
        assert max(red, green, blue) - min(red, green, blue) <= 12
        for color in RAMP:
            assert max(palette.channels(color)) - min(palette.channels(color)) > 40

    def test_no_two_colors_are_the_same(self) -> None:
        for first, second in itertools.combinations(palette.CLASS_COLORS.values(), 2):
            assert first != second

    def test_a_color_is_written_in_six_digits(self) -> None:
        with pytest.raises(ValueError, match="#rrggbb"):
            palette.channels("#fff")


class TestColorBlindEyes:
    @pytest.mark.parametrize(
        ("first", "second", "expected"),
        [  # Sharma, Wu & Dalal 2005 (Color Research and Application 30:21-30), table 1, from memory
            ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
            ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
            ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
            ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
            ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
        ],
    )
    def test_the_difference_itself(
        self, first: tuple[float, ...], second: tuple[float, ...], expected: float
    ) -> None:
        assert ciede2000(np.array(first), np.array(second)) == pytest.approx(expected, abs=5e-5)

    @pytest.mark.parametrize("eye", MACHADO)
    def test_matrices_keep_white(self, eye: str) -> None:
        np.testing.assert_allclose(MACHADO[eye].sum(axis=1), 1.0, atol=2e-6)

    @pytest.mark.parametrize("eye", MACHADO)
    @pytest.mark.parametrize("key", KEYS)
    def test_neighbors_of_every_key_stay_apart(self, key: str, eye: str) -> None:
        seen = [_lab(MACHADO[eye] @ _linear(color)) for color in KEYS[key]]
        assert min(ciede2000(a, b) for a, b in itertools.pairwise(seen)) > APART

    def test_the_check_can_fail(self) -> None:
        """Red and green of the same lightness, the pair that such eyes mix up."""
        red, green = (
            _lab(MACHADO["deuteranopia"] @ _linear(color)) for color in ("#b3592d", "#7a7a1f")
        )
        assert ciede2000(red, green) < APART
