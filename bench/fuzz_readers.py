"""
Damage files of every format for some minutes and see that readers refuse them in words.

``python -m bench.fuzz_readers [MINUTES] [FILE...]``: the files given are damaged as well as those of the
tests. Whatever is not a clear error is kept as ``fuzz-*.bin`` in the working folder and makes the run fail.
"""

from __future__ import annotations

import random
import sys
import time
import traceback
import warnings
from pathlib import Path
from tempfile import TemporaryDirectory

from quintain.errors import QuintainError
from quintain.readers.registry import read

SLOW = 5.0
"""A damaged file of some 100 kB that keeps a reader busy for longer is a fault too. [s]"""
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


def fault(path: Path, settings: dict[str, object]) -> str:
    """What went wrong apart from a clear refusal, '' if nothing did."""
    begin = time.monotonic()
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
    except BaseException as error:
        return f"{type(error).__name__}: {error} at {traceback.extract_tb(error.__traceback__)[-1]}"
    took = time.monotonic() - begin
    return f"took {took:.1f} s" if took > SLOW else ""


def main(minutes: float, files: list[str]) -> int:
    """Run until the time is over; return 1 if a fault was found."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from reader_samples import SAMPLES

    warnings.simplefilter("error")
    chance = random.Random()
    cases: list[tuple[str, bytes, dict[str, object]]] = [
        (f, Path(f).read_bytes()[:200_000], {}) for f in files
    ]
    tried = faults = 0
    with TemporaryDirectory() as folder:
        for sample in SAMPLES:
            path = Path(folder, sample.name)
            sample.write(path)
            cases.append((sample.name, path.read_bytes(), sample.settings))
        path = Path(folder, "damaged")
        end = time.monotonic() + 60 * minutes
        while time.monotonic() < end:
            name, content, settings = chance.choice(cases)
            path.write_bytes(damaged(content, chance))
            tried += 1
            if found := fault(path, settings):
                faults += 1
                kept = Path(f"fuzz-{faults}-{Path(name).name}.bin")
                kept.write_bytes(path.read_bytes())
                print(f"{kept}: {found}")
    print(f"{tried} damaged files, {faults} faults")
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main(float((sys.argv[1:2] or ["3"])[0]), sys.argv[2:]))
