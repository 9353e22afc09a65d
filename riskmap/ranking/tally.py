"""Ranks in every draw: by counting, since scores are whole numbers, or by sorting if few."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from riskmap.contract.arrays import Floats
from riskmap.contract.chunks import map_chunks, spans, workers
from riskmap.contract.compiled import compiled
from riskmap.ranking.draws import FULL

Whole = npt.NDArray[np.uint16]
Places = npt.NDArray[np.float32]
BLOCK_DRAWS: Final = 16
BLOCK_ROWS: Final = 2048
FEW_ROWS: Final = 4096
TAIL: Final = 0.05


@compiled
def rank_draws(
    scores: Whole, first: int, last: int, top: int, step: float, place: Places, cuts: Floats
) -> None:
    """Replace scores by ranks in draws ``first .. last-1``.

    Rank 1 is the highest score; equal scores share the middle of their ranks and, at the edge of
    the top, its places.

    Parameters
    ----------
    scores
        (n, d) whole numbers; ranks in units of `step` afterwards.
    first, last
        Draws to rank; `last` not among them.
    top
        Places on the list.
    step
        Unit in which ranks are written.
    place
        (n, last - first), written: each parcel's share of a place in the top.
    cuts
        (2, d), written: scores at ranks `top` and `top` + 1; -1 where there is no such rank.
    """
    rows = scores.shape[0]
    width = last - first
    counts = np.zeros((width, FULL + 2), np.int32)
    for row in range(rows):
        for d in range(width):
            counts[d, scores[row, first + d]] += 1
    for d in range(width):
        above = 0
        cuts[0, first + d] = -1.0
        cuts[1, first + d] = -1.0
        for value in range(FULL, -1, -1):
            here = counts[d, value]
            if above < top <= above + here:
                cuts[0, first + d] = value
            if above < top + 1 <= above + here:
                cuts[1, first + d] = value
            counts[d, value] = above
            above += here
        counts[d, FULL + 1] = above
    tally(scores, first, last, top, step, place, counts)


@compiled
def tally(
    scores: Whole,
    first: int,
    last: int,
    top: int,
    step: float,
    place: Places,
    above: npt.NDArray[np.int32],
) -> None:
    """Second pass of :func:`rank_draws`: `above` counts the parcels above each score.

    Parameters
    ----------
    scores, first, last, top, step, place
        As there.
    above
        (last - first, FULL + 2) counts; the last column counts all parcels.
    """
    below = np.empty_like(above)
    for d in range(last - first):
        running = above[d, FULL + 1]
        for value in range(FULL + 1):
            here = running - above[d, value]
            below[d, value] = here
            running = above[d, value]
    for row in range(scores.shape[0]):
        for d in range(last - first):
            value = scores[row, first + d]
            higher, same = above[d, value], below[d, value]
            place[row, d] = min(max((top - higher) / same, 0.0), 1.0)
            rank = higher + 0.5 * (same + 1)
            scores[row, first + d] = int(rank / step + 0.5)


@compiled
def rank_few(
    scores: Whole,
    first: int,
    last: int,
    top: int,
    step: float,
    place: Places,
    cuts: Floats,
) -> None:
    """Do the same as :func:`rank_draws` by sorting, which is faster for few parcels.

    Parameters
    ----------
    scores, first, last, top, step, place, cuts
        As there.
    """
    rows = scores.shape[0]
    for draw in range(first, last):
        column = scores[:, draw].copy()
        order = np.argsort(column)[::-1]
        cuts[0, draw] = column[order[top - 1]] if top <= rows else -1.0
        cuts[1, draw] = column[order[top]] if top < rows else -1.0
        start = 0
        while start < rows:
            stop = start + 1
            while stop < rows and column[order[stop]] == column[order[start]]:
                stop += 1
            share = min(max((top - start) / (stop - start), 0.0), 1.0)
            rank = start + 0.5 * (stop - start + 1)
            for k in range(start, stop):
                place[order[k], draw - first] = share
                scores[order[k], draw] = int(rank / step + 0.5)
            start = stop


def rank_all(scores: Whole, *, top: int, scenarios: int = 1) -> tuple[Floats, Floats, float]:
    """Rank all draws in place.

    Parameters
    ----------
    scores
        (n, d) whole-number scores; holds ranks in units of the returned step afterwards.
    scenarios
        Into how many the draws fall: draw d belongs to scenario d modulo this.

    Returns
    -------
    chance, cuts, step
        (n, scenarios) chance of a place in the top in each; (2, d) scores (0-100) at ranks `top`
        and `top` + 1, negative where there is no such rank; the step in which ranks are held: half
        a rank up to 32,767 parcels, coarser beyond.
    """
    rows, draws = scores.shape
    step = max(0.5, rows / FULL)
    cuts = np.empty((2, draws))

    def work(span: slice) -> Places:
        part = np.zeros((rows, span.stop - span.start), np.float32)
        kernel = rank_few if rows < FEW_ROWS else rank_draws
        kernel(scores, span.start, span.stop, top, step, part, cuts)
        return part

    chance = np.zeros((rows, scenarios))
    parts = spans(draws, BLOCK_DRAWS)
    for group in spans(len(parts), 4 * workers()):
        some = parts[group]
        for part, span in zip(map_chunks(work, some), some, strict=True):
            for draw in range(span.start, span.stop):
                chance[:, draw % scenarios] += part[:, draw - span.start]
    each = np.bincount(np.arange(draws) % scenarios, minlength=scenarios)
    return chance / np.maximum(each, 1), np.where(cuts < 0, cuts, cuts * 100.0 / FULL), step


def middle_and_range(numbers: Whole, *, scale: float) -> Floats:
    """5%, 50% and 95% quantiles and mean of each row: shape (n, 4), times `scale`.

    Quantiles are the smallest drawn value that the share of draws reaches.
    """
    rows, draws = numbers.shape
    picks = [max(int(np.ceil(share * draws)) - 1, 0) for share in (TAIL, 0.5, 1 - TAIL)]
    out = np.empty((rows, 4))

    def work(span: slice) -> None:
        part = numbers[span]
        out[span, :3] = np.sort(part, axis=1)[:, picks]
        out[span, 3] = part.mean(axis=1)

    map_chunks(work, spans(rows, BLOCK_ROWS))
    return out * scale
