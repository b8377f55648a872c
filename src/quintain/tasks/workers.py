"""Processes that share the work of one machine."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context

__all__ = ["worker_pool"]


@contextmanager
def worker_pool(jobs: int) -> Iterator[Executor | None]:
    """
    Offer an executor of ``jobs`` processes, or None where one process is enough.

    On the way out through an error, work that has not begun is dropped.
    """
    if jobs <= 1:
        yield None
        return
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"))
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
