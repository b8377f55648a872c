"""One place where errors become a line on stderr and an exit code."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import typer

from quintain.errors import QuintainError

__all__ = ["explained", "say"]


def say(message: str) -> None:
    """Put one line on stderr."""
    print(message, file=sys.stderr)


@contextmanager
def explained() -> Iterator[None]:
    """Turn an error of ours into one line on stderr and its exit code."""
    try:
        yield
    except QuintainError as problem:
        say(f"quintain: {problem}")
        raise typer.Exit(problem.exit_code) from None
    except KeyboardInterrupt:
        say("quintain: stopped; nothing half done was left")
        raise typer.Exit(130) from None
