"""
Damage files of every format for some minutes and see that readers refuse them in words.

``python -m bench.fuzz_readers [MINUTES] [FILE...]``: the files given are damaged as well as those of the
tests. The readers work in a process of their own, with a limit to its memory and to its time for a file.
Whatever is not a clear error is kept as ``fuzz-*.bin`` in the working folder and makes the run fail: another
exception, a message of several lines, a crash, a file that takes long or much memory.
"""

from __future__ import annotations

import argparse
import random
import resource
import signal
import subprocess
import sys
import time
import traceback
import warnings
from pathlib import Path
from tempfile import TemporaryDirectory
from types import FrameType
from typing import NamedTuple

from quintain.errors import QuintainError
from quintain.readers.registry import read


class Case(NamedTuple):
    """A whole file, where its damaged copy lies, and what is read then."""

    name: str
    content: bytes
    settings: dict[str, object]
    place: Path
    opened: Path


SLOW = 5.0
"""Processor time after which a damaged file of some 100 kB is a fault; the machine may be busy. [s]"""
STUCK = 60.0
"""So long no interruption came through: the process is ended from outside. [s]"""
MEMORY = 2 << 30
"""Address space that reading may take beside what the process has with all libraries loaded. [byte]"""
GROWTH = 400 << 20
"""Memory in use that one damaged file may add. [byte]"""
PIECES = (
    b"\xff" * 4,
    b"\0" * 8,
    b"\x7f\xff\xff\xff",
    b"\xff\xff\xff\x7f",
    b"\n",
    b",",
    b"1e999",
    b"-",
    b"9" * 12,
    b'"',
)


class _TooSlow(BaseException):
    """Not an Exception, so that no reader takes it for damage."""


def damaged(content: bytes, chance: random.Random) -> bytes:
    """The content with some bytes changed, cut out, put in or cut off; headers more often than the rest."""
    data = bytearray(content)
    reach = min(len(data), chance.choice((64, 700, 4000, len(data))))
    for _ in range(chance.choice((1, 1, 2, 4, 20))):
        kind, at = chance.randrange(6), chance.randrange(max(1, reach))
        if kind <= 1 and data:
            data[at % len(data)] = chance.randrange(256)
        elif kind == 2 and data:
            data[at % len(data)] ^= 1 << chance.randrange(8)
        elif kind == 3:
            del data[at : at + chance.randrange(1, 20)]
        elif kind == 4:
            data[at:at] = chance.choice(PIECES)
        elif chance.random() < 0.3:
            data = data[:at]
    return bytes(data) or b"\0"


def _read_whole(path: Path, settings: dict[str, object]) -> str:
    """What went wrong apart from a clear refusal, '' if nothing did."""
    try:
        for trace in read(path, **settings).traces[:8]:
            try:
                for _ in trace.blocks():
                    pass
            except QuintainError as refusal:
                if "\n" in str(refusal):
                    return f"a message of several lines: {refusal}"
    except QuintainError as refusal:
        if "\n" in str(refusal):
            return f"a message of several lines: {refusal}"
    except _TooSlow:
        return f"took more than {SLOW:g} s"
    except BaseException as error:
        return f"{type(error).__name__}: {error} at {traceback.extract_tb(error.__traceback__)[-1]}"
    return ""


def fault(path: Path, settings: dict[str, object]) -> str:
    """What went wrong within the limits of time and memory, '' if nothing did."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    signal.setitimer(signal.ITIMER_PROF, SLOW)
    try:
        found = _read_whole(path, settings)
    except _TooSlow:
        found = f"took more than {SLOW:g} s"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    grown = 1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
    return found or (f"took {grown >> 20} MB" if grown > GROWTH else "")


def _limit(_signal: int, _frame: FrameType | None) -> None:
    raise _TooSlow


def _cases(folder: Path, files: list[str]) -> list[Case]:
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from reader_samples import SAMPLES

    place = folder / "damaged"
    cases = [Case(f, Path(f).read_bytes()[:200_000], {}, place, place) for f in files]
    for sample in SAMPLES:
        path = folder / sample.name
        sample.write(path)
        cases.append(Case(sample.name, path.read_bytes(), sample.settings, place, place))
        if sample.reader == "mme":
            channel = next((folder / "Channel").iterdir())
            cases.append(Case(channel.name, channel.read_bytes(), {}, channel, path))
    return cases


def work(folder: Path, seed: int, count: int, files: list[str]) -> int:
    """
    Read damaged files one after the other, each a copy of a file that is whole.

    The damaged file lies in the folder, and its settings and number beside it, so that the process which
    watches knows what a crash is about. Prints faults; returns 1 after the first, for a clean process.
    """
    warnings.simplefilter("error")
    chance = random.Random(seed)
    cases = _cases(folder, files)
    for case in cases:
        # Whole files first: they bring all libraries into memory, which the limits shall not count.
        case.place.write_bytes(case.content)
        _read_whole(case.opened, case.settings)
    size = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (size + MEMORY, size + MEMORY))
    signal.signal(signal.SIGPROF, _limit)
    for k in range(count):
        case = chance.choice(cases)
        case.place.write_bytes(damaged(case.content, chance))
        (folder / "state").write_text(f"{k}\n{case.name}\n{case.place}")
        if found := fault(case.opened, case.settings):
            print(found)
            return 1
        if case.place != case.opened:
            case.place.write_bytes(case.content)
    (folder / "state").write_text(f"{count}\n")
    return 0


def _watch(folder: Path, seed: int, count: int, end: float, files: list[str]) -> tuple[int, list[str], str]:
    """Run a working process to its end; how many files it tried, name and place of a fault, and its kind."""
    state = folder / "state"
    state.write_text("0\n")
    command = [sys.executable, "-m", "bench.fuzz_readers", "--work", str(folder), str(seed), str(count)]
    with (folder / "said").open("w+") as said:
        child = subprocess.Popen([*command, *files], stdout=said, stderr=said)
        stuck = over = False
        while child.poll() is None and not (stuck or over):
            time.sleep(0.1)
            # A process that has not begun yet loads its libraries.
            stuck = time.time() - state.stat().st_mtime > STUCK * (1 if (folder / "damaged").exists() else 4)
            over = time.monotonic() > end
        if child.poll() is None:
            child.kill()
        code = child.wait()
        said.seek(0)
        words = said.read().strip()
    tried, *of = state.read_text().split("\n")
    if stuck:
        return int(tried), of, f"did not come back for {STUCK:g} s"
    if over or code == 0:
        return int(tried), of, ""
    return int(tried), of, words.splitlines()[-1] if words else f"the process crashed ({code})"


def main(minutes: float, count: int | None, seed: int | None, files: list[str]) -> int:
    """Run until the time is over or the files are tried; return 1 if a fault was found."""
    chance = random.Random(seed)
    tried = faults = 0
    end = time.monotonic() + 60 * minutes
    while time.monotonic() < end and (count is None or tried < count):
        with TemporaryDirectory() as name:
            folder = Path(name)
            left = 5000 if count is None else count - tried
            done, of, found = _watch(folder, chance.randrange(1 << 30), left, end, files)
            tried += done + bool(found)
            if found:
                faults += 1
                kept = Path(f"fuzz-{faults}-{Path(of[0]).name}.bin")
                kept.write_bytes(Path(of[1]).read_bytes() if len(of) > 1 else b"")
                print(f"{kept}: {found}", flush=True)
    print(f"{tried} damaged files, {faults} faults")
    return int(faults > 0)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        sys.exit(work(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), sys.argv[5:]))
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("minutes", nargs="?", type=float, default=3.0)
    options.add_argument("files", nargs="*")
    options.add_argument("--count", type=int, help="damaged files to try, instead of minutes")
    options.add_argument("--seed", type=int, help="for the same damage again")
    given = options.parse_args()
    sys.exit(main(given.minutes if given.count is None else 60.0, given.count, given.seed, given.files))
