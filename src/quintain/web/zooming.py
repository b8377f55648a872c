"""Work on the lab's cache that goes on behind the pages: pyramids for zooming, curves that are not there."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from quintain.errors import QuintainError
from quintain.store.lab import Lab
from quintain.tasks.progress import Cancelled
from quintain.tasks.replay import curves_of
from quintain.tasks.zoom import build_zoom, zoom_key

__all__ = ["Building", "CurrentZooming", "Zooming"]


@dataclass(slots=True)
class Building:
    """A pyramid on its way: samples read, of how many if that is known, and what went wrong, if anything."""

    done: int = 0
    total: int | None = None
    trouble: str = ""
    stop: bool = False
    future: Future[None] | None = None

    def wait(self, seconds: float) -> None:
        """Wait for the end, but not long; short recordings are done by then."""
        if self.future is not None and not self.future.done():
            try:
                self.future.result(seconds)
            except TimeoutError:
                return


class Zooming:
    """One worker behind the pages of a server; whoever asks for the same gets the same work."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="zooming")
        self._lock = threading.Lock()
        self._known: dict[str, Building] = {}
        self._filling: set[int] = set()

    def build(self, lab: Lab, sha256: str, channel: int, *, again: bool = False) -> Building:
        """The work on a channel's pyramid, begun if it was not; ``again`` after it failed or was stopped."""
        key = f"{lab.folder}/{zoom_key(lab, sha256, channel)}"
        with self._lock:
            known = self._known.get(key)
            over = known is not None and known.future is not None and known.future.done()
            if known is None or (over and (again or not (known.trouble or known.stop))):
                known = self._known[key] = Building()
                known.future = self._pool.submit(_build, known, lab, sha256, channel)
            return known

    def fill(self, lab: Lab, strikes: Iterable[int]) -> None:
        """Make curves again that are not in the cache."""
        with self._lock:
            fresh = [id for id in strikes if id not in self._filling]
            self._filling.update(fresh)
        for strike_id in fresh:
            self._pool.submit(self._fill, lab, strike_id)

    def _fill(self, lab: Lab, strike_id: int) -> None:
        try:
            curves_of(lab, strike_id)
        except QuintainError:  # the strike's own page says why
            return
        with self._lock:
            self._filling.discard(strike_id)


def _build(work: Building, lab: Lab, sha256: str, channel: int) -> None:
    def progress(what: str, done: float, total: float | None) -> None:
        work.done, work.total = int(done), None if total is None else int(total)
        if work.stop:
            raise Cancelled

    try:
        build_zoom(lab, sha256, channel, progress=progress)
    except Cancelled:
        work.trouble = "It was stopped; nothing of it is left."
    except QuintainError as problem:
        work.trouble = str(problem)
    except Exception as problem:  # a page must say so; nobody else sees this thread
        work.trouble = f"a defect of quintain: {type(problem).__name__}: {problem}"


_MAKING = threading.Lock()


async def _zooming(request: Request) -> Zooming:
    state = request.app.state
    with _MAKING:
        if not hasattr(state, "zooming"):
            state.zooming = Zooming()
        made: Zooming = state.zooming
    return made


CurrentZooming = Annotated[Zooming, Depends(_zooming)]
"""Annotate a page's argument with it to get the worker of this server."""
