"""A progress bar on stderr for work that takes long; silent when nobody watches."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from quintain.tasks.progress import Progress, silent

__all__ = ["progress_bar"]


@contextmanager
def progress_bar(*, shown: bool = True) -> Iterator[Progress]:
    """Offer a Progress that draws on stderr if that is a terminal."""
    if not shown or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        tasks: dict[str, object] = {}

        def show(what: str, done: float, total: float | None) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=total)
            bar.update(tasks[what], completed=done, total=total)  # type: ignore[arg-type]

        yield show
