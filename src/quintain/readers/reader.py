"""What the registry knows of one kind of file."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from quintain.domain.recording import Recording

__all__ = ["HEAD", "Reader"]

HEAD = 4096
"""First bytes of a file that a reader is shown to tell whether it is of its kind."""


@dataclass(frozen=True, slots=True)
class Reader:
    """
    One kind of file.

    Parameters
    ----------
    name : str
        Short name, stored with a recording.
    suffixes : tuple of str
        Usual endings of such files, for lists and dialogs; the bytes decide, not the ending.
    recognises : callable
        Given the first bytes of a file (at most 4096), tells whether it is of this kind. Never raises.
    read : callable
        Given a path and keyword settings, returns a :class:`~quintain.domain.recording.Recording`; raises
        nothing but :class:`~quintain.errors.QuintainError`.
    about : str
        What the format is, in a few words.
    parts : callable, optional
        For recordings of several files: given the path of the first, returns those of the others, which
        lie in its folder or below.
    calibrations : str
        Which calibrations such files hold, and when they are used.
    """

    name: str
    suffixes: tuple[str, ...]
    recognises: Callable[[bytes], bool]
    read: Callable[..., Recording]
    about: str
    parts: Callable[[Path], list[Path]] | None = None
    calibrations: str = ""

    @property
    def settings(self) -> tuple[str, ...]:
        """Names of the settings that ``read`` takes."""
        parameters = inspect.signature(self.read).parameters.values()
        return tuple(p.name for p in parameters if p.kind is inspect.Parameter.KEYWORD_ONLY)
