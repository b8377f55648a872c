"""Where recordings are analysed: this process, several of this machine, or a Dask cluster."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from importlib import import_module
from typing import Any

from quintain.errors import LabError, UsageError
from quintain.tasks.lab_inputs import libraries
from quintain.tasks.workers import worker_pool

__all__ = ["Crew", "dask_crew", "local_crew"]

Crew = tuple[Executor | None, int]
"""An executor, or None for this process, and how many tasks may be out at a time."""

_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS")


@contextmanager
def local_crew(jobs: int) -> Iterator[Crew]:
    """
    Processes of this machine, each with one thread for linear algebra: more would stand in each other's way.

    Parameters
    ----------
    jobs : int
        How many; 1 is this process itself.
    """
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    if jobs > 1:
        # a library reads this once, when a new process loads it
        os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        with worker_pool(jobs) as executor:
            yield executor, 2 * jobs
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@contextmanager
def dask_crew(address: str) -> Iterator[Crew]:
    """
    The workers of a Dask cluster; the lab must lie on storage that all of them see under the same path.

    Parameters
    ----------
    address : str
        Of its scheduler, as in 'tcp://station:8786'.

    Raises
    ------
    UsageError
        If dask.distributed is not installed here, or that is no address.
    LabError
        If the cluster cannot be reached, has no worker, or runs another version of quintain.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise UsageError(
            "--dask needs dask.distributed, which is not installed; get it with: pip install 'quintain[dask]'"
        ) from None
    try:
        client = distributed.Client(address, timeout=10, set_as_default=False)
    except ValueError as problem:
        raise UsageError(
            f"expected the address of a Dask scheduler, as in 'tcp://station:8786', got "
            f"{address!r} ({problem})"
        ) from None
    except OSError as problem:
        raise LabError(f"no Dask scheduler answers at {address} ({problem}); is it running?") from None
    try:
        _check_versions(client, address)
        yield client.get_executor(), 2 * max(1, sum(client.ncores().values()))
    finally:
        client.close()


def _check_versions(client: Any, address: str) -> None:
    answers = client.run(libraries, on_error="return")
    if not answers:
        raise LabError(f"the Dask cluster at {address} has no worker; start one with: dask worker {address}")
    here = libraries()
    for worker, there in sorted(answers.items()):
        if not isinstance(there, dict):
            raise LabError(
                f"the worker {worker} cannot load quintain ({there}); install {here['quintain']} there"
            )
        differ = [what for what in _MUST_AGREE if there.get(what) != here[what]]
        if differ:
            theirs = ", ".join(f"{what} {there.get(what, 'of an unknown version')}" for what in differ)
            ours = ", ".join(f"{what} {here[what]}" for what in differ)
            raise LabError(
                f"the worker {worker} runs {theirs}, this machine {ours}; numbers could differ. Install the "
                "same on all machines"
            )


_MUST_AGREE = ("quintain", "numpy", "scipy", "numba")
