"""Pieces of a county: cut and gone through in one way, with the same result whoever works."""

from __future__ import annotations

import threading
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest
from threadpoolctl import ThreadpoolController

from riskmap.contract.chunks import crew, map_chunks, one_thread, shares, spans, workers


def squares(span: slice) -> float:
    return float((np.arange(span.start, span.stop) ** 2).sum())


class TestCutting:
    @pytest.mark.parametrize("total", [0, 1, 7, 100])
    @pytest.mark.parametrize("step", [1, 3, 100, 1000])
    def test_pieces_cover_everything_once(self, total: int, step: int) -> None:
        rows = [row for part in spans(total, step) for row in range(part.start, part.stop)]
        assert rows == list(range(total))
        assert all(part.stop - part.start <= step for part in spans(total, step))

    def test_every_worker_gets_a_share(self) -> None:
        with crew(3):
            assert len(shares(1000, 20_000)) == 3
            assert len(shares(1000, 100)) == 10
            assert len(shares(2, 100)) == 2
            assert shares(0, 100) == []


class TestGoingThrough:
    @pytest.mark.parametrize("count", [1, 2, 3])
    @pytest.mark.parametrize("step", [1, 7, 50, 1000])
    def test_order_is_that_of_the_pieces(self, count: int, step: int) -> None:
        parts = spans(100, step)
        with crew(count):
            assert map_chunks(squares, parts) == [squares(part) for part in parts]

    def test_one_worker_stays_in_its_own_thread(self) -> None:
        with crew(1):
            ids = map_chunks(lambda _: threading.get_ident(), range(4))
        assert set(ids) == {threading.get_ident()}

    def test_two_work_at_the_same_time(self) -> None:
        both = threading.Barrier(2, timeout=10)
        with crew(2):
            map_chunks(lambda _: both.wait(), range(2))  # one alone would wait for ever

    def test_an_error_of_a_piece_arrives(self) -> None:
        with crew(2), pytest.raises(ZeroDivisionError):
            map_chunks(lambda n: 1 / n, [1, 0, 2])

    def test_pieces_go_to_a_pool_of_spawned_processes(self) -> None:
        parts = spans(40, 7)
        with (
            ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool,
            crew(2, pool=pool),
        ):
            assert map_chunks(squares, parts, elsewhere=True) == [squares(p) for p in parts]

    def test_the_crew_before_is_back_afterwards(self) -> None:
        with crew(5):
            with pytest.raises(RuntimeError, match="stop"), crew(2):
                raise RuntimeError("stop")
            assert workers() == 5


def test_linear_algebra_keeps_to_one_thread() -> None:
    def threads() -> set[int]:
        libraries = ThreadpoolController().info()
        return {lib["num_threads"] for lib in libraries if lib["user_api"] == "blas"}

    before = threads()
    with one_thread():
        assert threads() == {1}
    assert threads() == before
