"""Analyse the recordings of a lab: many at once if wished, each saved as soon as it is done."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait
from dataclasses import dataclass
from functools import partial

from quintain.domain.method import Method
from quintain.errors import LabError, QuintainError, RecordingError
from quintain.store.curves import keep_curves
from quintain.store.lab import Lab
from quintain.store.results import Saved, save_analysis
from quintain.tasks.lab_inputs import (
    METHOD,
    NEW,
    RIG,
    TOLD,
    Inputs,
    Made,
    Wanted,
    gather,
    measure_inputs,
    places_of,
)
from quintain.tasks.progress import Progress, silent

__all__ = ["Analysed", "Failed", "LabRun", "analyse_lab", "choose"]


@dataclass(frozen=True, slots=True)
class Analysed:
    """A recording that was analysed; ``earlier`` is the analysis that was in force before, if any."""

    recording: str
    name: str
    saved: Saved
    earlier: int | None
    output: str


@dataclass(frozen=True, slots=True)
class Failed:
    """A recording that could not be analysed, and why."""

    recording: str
    name: str
    code: str
    message: str
    exit_code: int = 3


@dataclass(frozen=True, slots=True)
class LabRun:
    """What a run over a lab did; ``up_to_date`` counts recordings that needed nothing."""

    analysed: tuple[Analysed, ...]
    failed: tuple[Failed, ...]
    up_to_date: int

    @property
    def n_strikes(self) -> int:
        """Strikes in all that was analysed."""
        return sum(len(one.saved.strike_ids) for one in self.analysed)


def analyse_lab(
    lab: Lab,
    *,
    who: str,
    recordings: Sequence[str] | None = None,
    session: str | None = None,
    method: Method | None = None,
    rig: str | None = None,
    again: bool = False,
    curves: bool = True,
    executor: Executor | None = None,
    in_flight: int = 8,
    progress: Progress = silent,
) -> LabRun:
    """
    Analyse what has not been analysed, and on request what is out of date.

    Parameters
    ----------
    lab : Lab
        The lab.
    who : str
        In whose name; for the audit.
    recordings : sequence of str, optional
        SHA-256 of those that are meant; all recordings of strikes if not given.
    session : str, optional
        Code of a session whose recordings are meant.
    method : Method, optional
        If given, whatever was analysed by another one is analysed again. If not, each keeps its own, and a
        new recording gets the standard one.
    rig : str, optional
        Name of a rig of the lab or a version of one, instead of the one of recording or session.
    again : bool
        Also analyse again what a newer version of its rig, method or of the software has made out of
        date. Where nothing of that changed, a new analysis would give the same bits, and is not made.
    curves : bool
        Whether to keep curves for figures in the lab's cache, some 40 kB a strike.
    executor : concurrent.futures.Executor, optional
        Where recordings are analysed, one task each: in this process if not given. The results are the
        same. This process alone writes to the lab.
    in_flight : int
        At most so many recordings are out at a time, which bounds the memory.
    progress : Progress, optional
        Told of the recordings done, and able to stop the run; what is done by then is saved.

    Returns
    -------
    LabRun
        What was done. A recording that fails stops no other; its error is here and in the audit.

    Raises
    ------
    LabError
        If the lab cannot be written to, or a process that analyses dies. What was done until then is
        saved, and another run goes on from there.
    """
    todo, up_to_date = choose(
        lab, recordings=recordings, session=session, method=method, rig=rig, again=again
    )
    analysed: list[Analysed] = []
    failed: list[Failed] = []
    progress("recordings", 0, len(todo))
    for wanted, outcome in _outcomes(lab, todo, curves, executor, in_flight):
        done = _save(lab, who, wanted, outcome) if isinstance(outcome, Made) else outcome
        if isinstance(done, Analysed):
            analysed.append(done)
        else:
            failed.append(_note_failure(lab, who, wanted.inputs, done))
        progress("recordings", len(analysed) + len(failed), len(todo))
    place = {wanted.inputs.recording: i for i, wanted in enumerate(todo)}
    return LabRun(
        tuple(sorted(analysed, key=lambda one: place[one.recording])),
        tuple(sorted(failed, key=lambda one: place[one.recording])),
        up_to_date,
    )


def choose(
    lab: Lab,
    *,
    recordings: Sequence[str] | None = None,
    session: str | None = None,
    method: Method | None = None,
    rig: str | None = None,
    again: bool = False,
) -> tuple[list[Wanted], int]:
    """What :func:`analyse_lab` would do and why, and how many recordings need nothing."""
    found = gather(lab, recordings=recordings, session=session, method=method, rig=rig)
    asked = {NEW, TOLD} | ({METHOD} if method else set()) | ({RIG} if rig else set())
    todo = [wanted for wanted in found if (wanted.because if again else asked & wanted.because.keys())]
    return todo, len(found) - len(todo)


def _save(lab: Lab, who: str, wanted: Wanted, made: Made) -> Analysed | RecordingError:
    inputs, analysis = wanted.inputs, made.analysis
    output = analysis.history[-1].output
    try:
        with lab.writing(who) as writer:
            saved = save_analysis(writer, inputs.recording, analysis, motion_sha256=inputs.motion or None)
    except RecordingError as problem:
        return problem
    if made.curves:
        keep_curves(lab.cache, output, made.curves)
    return Analysed(inputs.recording, inputs.name, saved, wanted.analysis_id, output)


def _note_failure(lab: Lab, who: str, inputs: Inputs, problem: Exception) -> Failed:
    code, exit_code = "error", QuintainError.exit_code
    if isinstance(problem, QuintainError):
        code, exit_code = problem.code, problem.exit_code
        message = str(problem)
        for sha256, name in ((inputs.recording, inputs.name), (inputs.motion, "its motion")):
            stored = lab.originals.find(sha256) if sha256 else None
            message = message.replace(str(stored.resolve()), name) if stored else message
    elif isinstance(problem, MemoryError) or type(problem).__name__ == "KilledWorker":  # the latter Dask's
        message = f"{inputs.name}: there was not enough memory for it; analyse it alone on a larger machine"
    else:
        message = (
            f"{inputs.name}: a defect of quintain: {type(problem).__name__}: {problem}; please report it"
        )
    failed = Failed(inputs.recording, inputs.name, code, message, exit_code)
    with lab.writing(who) as writer:
        after = {"code": failed.code, "message": message, "method": inputs.method.sha256}
        writer.note("analysis failed", "recording", inputs.recording, after=after)
    return failed


# -- here or elsewhere

Outcome = Made | Exception

_DEAD = (BrokenExecutor, CancelledError)
"""What an executor says when whoever should work is no longer there."""


def _outcomes(
    lab: Lab, todo: Iterable[Wanted], curves: bool, executor: Executor | None, in_flight: int
) -> Iterator[tuple[Wanted, Outcome]]:
    """What became of each, as it comes in; only so many are out at a time."""
    if executor is None:
        for wanted in todo:
            yield wanted, _outcome(partial(_here, lab, wanted.inputs, curves))
        return
    out: dict[Future[Made], Wanted] = {}
    try:
        for wanted in todo:
            while len(out) >= in_flight:
                yield from _finished(out)
            try:
                places = places_of(lab, wanted.inputs)
            except QuintainError as problem:
                yield wanted, problem
                continue
            out[executor.submit(measure_inputs, wanted.inputs, places, curves)] = wanted
        while out:
            yield from _finished(out)
    except _DEAD:
        raise LabError(
            "whoever analyses recordings died or went away, perhaps for want of memory; what was done until "
            "then is saved. Run it again, with fewer jobs: it goes on from there"
        ) from None
    finally:
        for future in out:
            future.cancel()


def _here(lab: Lab, inputs: Inputs, curves: bool) -> Made:
    return measure_inputs(inputs, places_of(lab, inputs), curves)


def _finished(out: dict[Future[Made], Wanted]) -> Iterator[tuple[Wanted, Outcome]]:
    done, _ = wait(out, return_when=FIRST_COMPLETED)
    for future in done:
        yield out.pop(future), _outcome(future.result)


def _outcome(call: Callable[[], Made]) -> Outcome:
    try:
        return call()
    except _DEAD:
        raise
    except Exception as problem:  # one recording must not stop the others, whatever it does
        return problem
