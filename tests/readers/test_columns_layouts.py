"""Any layout that a program may write is read back as the same numbers."""

from __future__ import annotations

import gzip
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quintain.readers.columns import read_columns

# How programs separate columns and write decimals; a comma cannot be both.
MAKES = [
    ("\t", "."),
    ("\t", ","),
    (";", "."),
    (";", ","),
    (",", "."),
    ("|", "."),
    (" ", "."),
    (" ", ","),
    ("  ", "."),
]
UNITS = {"N": 1.0, "kN": 1e3, "lbf": 4.4482216152605, "V": 1.0, "mV": 1e-3, "m/s^2": 1.0, "g": 9.80665}
TIMES = {"s": 1.0, "ms": 1e-3, "us": 1e-6}


def _header(style: str, mark: str, labels: list[tuple[str, str]]) -> list[str]:
    if style == "underscore":
        return [mark.join(f"{name}_{unit}" for name, unit in labels)]
    if style == "bracket":
        return [mark.join(f"{name}[{unit}]" for name, unit in labels)]
    if style == "units row":
        return [mark.join(name for name, _ in labels), mark.join(unit for _, unit in labels)]
    if style == "bracketed units row":
        return [mark.join(name for name, _ in labels), mark.join(f"[{unit}]" for _, unit in labels)]
    if style == "comment":
        return ["# made by hand", "# " + mark.join(f"{name}({unit})" for name, unit in labels)]
    assert style == "preamble"
    return [
        "Export of a logger",
        "Operator: A. Nobody, room 12",
        "Gain 200; offset 0,5",
        "",
        "Filter: 3 kHz, 4th order",
        mark.join(name for name, _ in labels),
        mark.join(unit for _, unit in labels),
    ]


@settings(max_examples=80)
@given(
    make=st.sampled_from(MAKES),
    style=st.sampled_from(
        ["underscore", "bracket", "units row", "bracketed units row", "comment", "preamble"]
    ),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"]),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    units=st.lists(st.sampled_from(sorted(UNITS)), min_size=1, max_size=3),
    time_unit=st.sampled_from(sorted(TIMES)),
    rate=st.sampled_from([250.0, 1000.0, 2000.0, 10_000.0, 51_200.0]),
    rows=st.integers(4, 40),
    compressed=st.booleans(),
    form=st.sampled_from(["{:.6f}", "{:.9e}", "{:+.4f}", "{!r}"]),
    data=st.data(),
)
def test_written_layout_reads_back(
    make, style, encoding, line_end, units, time_unit, rate, rows, compressed, form, data
) -> None:
    mark, point = make
    seed = data.draw(st.integers(0, 2**16))
    values = np.random.default_rng(seed).normal(0, 100, (rows, len(units))).round(6)
    cells = [[form.format(float(v)).replace(".", point) for v in row] for row in values]
    stamps = [f"{i / rate / TIMES[time_unit]:.9f}".replace(".", point) for i in range(rows)]
    labels = [("time", time_unit)] + [(f"ch{i}", unit) for i, unit in enumerate(units)]
    lines = _header(style, mark, labels)
    lines += [mark.join([stamp, *row]) for stamp, row in zip(stamps, cells, strict=True)]
    text = (line_end.join(lines) + line_end).encode(encoding)
    with TemporaryDirectory() as folder:
        path = Path(folder, "written.csv")
        path.write_bytes(gzip.compress(text) if compressed else text)
        recording = read_columns(path)
        assert [t.name for t in recording.traces] == [name for name, _ in labels[1:]]
        for i, trace in enumerate(recording.traces):
            assert trace.unit_in_file == units[i]
            # 9 decimals of a stamp in s, ms or us: the rate is found to the digit it was written with.
            assert trace.rate == pytest.approx(rate, rel=1e-9 if time_unit != "s" else 5e-5)
            expected = [float(row[i].replace(point, ".")) for row in cells]
            # One rounding of the product with the unit's factor.
            np.testing.assert_allclose(trace.read(), np.array(expected) * UNITS[units[i]], rtol=1e-15)


@given(
    stamps=st.sampled_from(["iso", "iso-z", "slash", "clock", "date and clock", "german date and clock"]),
    rows=st.integers(3, 30),
    mark=st.sampled_from(["\t", ";", ","]),
)
def test_absolute_time_reads_back(stamps: str, rows: int, mark: str) -> None:
    lines = []
    for i in range(rows):
        clock = f"23:59:59.{i:03d}" if stamps != "clock" else f"9:59:59.{i:03d}"
        date = {"slash": "2026/11/25", "german date and clock": "25.11.2026"}.get(stamps, "2026-11-25")
        time = {"iso": f"{date}T{clock}", "iso-z": f"{date}T{clock}Z", "slash": f"{date} {clock}"}.get(
            stamps, clock
        )
        lines.append(mark.join(([date] if "date" in stamps else []) + [time, f"{i}.5"]))
    header = mark.join((["Date"] if "date" in stamps else []) + ["Time", "F [N]"])
    with TemporaryDirectory() as folder:
        path = Path(folder, "stamped.txt")
        path.write_text("\n".join([header, *lines, ""]))
        recording = read_columns(path)
        (trace,) = recording.traces
        assert trace.rate == pytest.approx(1000.0, rel=1e-6)
        (block,) = trace.blocks()
        assert block.start == 0.0
        np.testing.assert_array_equal(block.samples, np.arange(rows) + 0.5)
        if stamps == "clock":
            assert recording.started is None
        else:
            assert recording.started is not None
            assert recording.started.isoformat() == "2026-11-25T23:59:59"


def test_times_of_day_go_on_after_midnight(tmp_path: Path) -> None:
    path = tmp_path / "night.csv"
    rows = [f"23:59:59.{i:03d};1" for i in range(997, 1000)] + [f"00:00:00.{i:03d};2" for i in range(3)]
    path.write_text("Uhrzeit;Kraft [N]\n" + "\n".join(rows) + "\n")
    (block,) = read_columns(path).trace().blocks()
    assert block.samples.tolist() == [1, 1, 1, 2, 2, 2]
