"""The lab of this server, opened when the first page asks for it."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Annotated, NamedTuple

from fastapi import Depends, Request
from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool

from quintain.errors import LabError
from quintain.store.lab import Lab
from quintain.web.security.sessions import Visitor

__all__ = ["CurrentLab", "CurrentVisitor", "LabLabel", "OpenLab", "lab_label"]


class LabLabel(NamedTuple):
    """What the head of a page says about the lab."""

    name: str
    invented: bool


class OpenLab:
    """A lab's folder, and the lab once it is open."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._lab: Lab | None = None

    def lab(self) -> Lab:
        """
        The open lab.

        Raises
        ------
        LabError
            If it cannot be opened, or was taken away since.
        """
        with self._lock:
            if self._lab is not None and not (self.folder / "lab.toml").is_file():
                self._lab.close()
                self._lab = None
            if self._lab is None:
                self._lab = Lab.open(self.folder)
            return self._lab

    def at_hand(self) -> Lab | None:
        """The lab if it is open and still there; never waits."""
        lab = self._lab
        return lab if lab is not None and (self.folder / "lab.toml").is_file() else None

    def close(self) -> None:
        """Let go of the lab."""
        with self._lock:
            if self._lab is not None:
                self._lab.close()
                self._lab = None


def lab_label(request: Request) -> LabLabel | None:
    """Name of the lab for the head of a page, or None where it cannot be opened."""
    try:
        facts = request.app.state.open_lab.lab().facts
    except (LabError, SQLAlchemyError):
        return None
    return LabLabel(facts.name, facts.invented)


# What does not wait is asynchronous: a thread for each would cost more than the work itself.


async def _lab(request: Request) -> Lab:
    opened: OpenLab = request.app.state.open_lab
    lab = opened.at_hand()
    return await run_in_threadpool(opened.lab) if lab is None else lab


async def _visitor(request: Request) -> Visitor:
    visitor: Visitor = request.state.visitor
    return visitor


CurrentLab = Annotated[Lab, Depends(_lab)]
"""Annotate a page's argument with it to get the open lab."""

CurrentVisitor = Annotated[Visitor, Depends(_visitor)]
"""Whoever asks: ``.role``, and ``.who`` for ``lab.writing(who)``."""
