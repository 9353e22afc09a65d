"""Forward-backward of any hidden chain, written out with matrices: an oracle, slow and plain."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def forward_backward(
    start: np.ndarray, steps: Sequence[np.ndarray], likelihood: np.ndarray
) -> tuple[float, np.ndarray]:
    """Log-likelihood and smoothed chances (times, states).

    ``steps[t]`` (states, states) leads from time t to t + 1; ``likelihood`` (times, states).
    """
    forward = [start * likelihood[0]]
    for step, seen in zip(steps, likelihood[1:], strict=True):
        forward.append((forward[-1] @ step) * seen)
    back = [np.ones(len(start))]
    for step, seen in zip(steps[::-1], likelihood[:0:-1], strict=True):
        back.append(step @ (seen * back[-1]))
    both = np.array(forward) * np.array(back[::-1])
    return float(np.log(forward[-1].sum())), both / both.sum(axis=1, keepdims=True)
