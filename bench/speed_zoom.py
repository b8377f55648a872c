"""Zooming a recording of 1e8 samples: building the pyramid, windows at every zoom, encoded."""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from bench.row import Row
from quintain.domain.trace import Block, Trace
from quintain.store.pyramid import build_pyramid, view
from quintain.web.trace_wire import as_json, encode

N = 100_000_000
RATE = 5000.0
PIXELS = 1600


class _Noise:
    """Invented: one block of noise, over and over."""

    def blocks(self) -> Iterator[Block]:
        block = np.random.default_rng(1).standard_normal(1 << 18)
        for first in range(0, N, block.size):
            yield Block(first, first / RATE, block[: N - first])


def run() -> list[Row]:
    rng = np.random.default_rng(2)
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        pyramid = build_pyramid(Trace("f", "force", "N", RATE, _Noise()), Path(folder), "bench")
        built = time.perf_counter() - began
        size = sum(f.stat().st_size for f in Path(folder).rglob("*") if f.is_file())
        whole = N / RATE
        binary, text = [], []
        for _ in range(400):
            wide = whole * 10 ** rng.uniform(-6, 0)
            start = rng.uniform(0, whole - wide)
            began = time.perf_counter()
            seen = view(pyramid, start, start + wide, PIXELS)
            encode(seen)
            binary.append(time.perf_counter() - began)
            began = time.perf_counter()
            json.dumps(as_json(view(pyramid, start, start + wide, PIXELS)))
            text.append(time.perf_counter() - began)
    return [
        Row("window of 1e8 samples, bytes, p95", 1e3 * float(np.quantile(binary, 0.95)), "ms", at_most=50),
        Row("window of 1e8 samples, JSON, p95", 1e3 * float(np.quantile(text, 0.95)), "ms", at_most=50),
        Row("building the pyramid, per 1e8 samples", built, "s"),
        Row("pyramid on disk, per sample", size / N, "bytes"),
    ]
