"""Time columns: rounded, jittering, jumping, missing, and at odds with a stated rate."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quintain.errors import RecordingError, UnitError
from quintain.readers.columns import read_columns
from quintain.readers.columns_time import fit_interval, simplest_rate


def _write(path: Path, time: np.ndarray, form: str = "%.6f", header: str = "t [s],F [N]") -> Path:
    force = np.arange(time.size, dtype=float)
    path.write_text(
        header + "\n" + "".join(f"{form % t},{f:.1f}\n" for t, f in zip(time, force, strict=True))
    )
    return path


@pytest.mark.parametrize(
    ("rate", "form"),
    [
        (1000.0, "%.3f"),
        (51_200.0, "%.6f"),  # step 19.53 us printed to 1 us
        (2000.0, "%.3f"),  # two samples share each stamp
        (10_000.0, "%.3f"),  # ten do
        (285.714285714, "%.4f"),
    ],
)
def test_rounded_stamps_are_one_piece(tmp_path: Path, rate: float, form: str) -> None:
    path = _write(tmp_path / "a.csv", np.arange(30_000) / rate, form)
    (trace,) = read_columns(path).traces
    # The stamps of some 10 000 rows bound the rate to their rounding over their span.
    assert trace.rate == pytest.approx(rate, rel=2e-4)
    blocks = list(trace.blocks())
    assert [b.join for b in blocks] == [""] * len(blocks)
    assert np.array_equal(trace.read(), np.arange(30_000.0))


def test_stamps_with_six_digits_coarsen_with_time(tmp_path: Path) -> None:
    # '%.6g' prints 0.0001 at first and 123.457 later: 10 samples share a stamp after 100 s.
    time = np.arange(300_000) / 10_000 + 95
    trace = read_columns(_write(tmp_path / "a.csv", time, "%.6g")).trace()
    assert trace.rate == pytest.approx(10_000, rel=1e-3)
    assert {b.join for b in trace.blocks()} == {""}


def test_odd_steps_give_their_own_rate() -> None:
    # Steps of 2.000277970813059e-05 s: 1440 samples meant to span an exact time, an export's off-by-one.
    interval = fit_interval(np.arange(1439) * 2.000277970813059e-05)
    assert interval is not None
    assert simplest_rate(interval) == pytest.approx(1 / 2.000277970813059e-05, rel=1e-10)


def test_jitter_below_half_a_step_is_no_break(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    time = np.arange(5000) / 1000 + rng.uniform(-0.2e-3, 0.2e-3, 5000)
    trace = read_columns(_write(tmp_path / "a.csv", time, "%.9f")).trace()
    # Least squares over 5000 stamps of 0.12 ms scatter: 1e-6 of the rate; the bound kept is 1e-4.
    assert trace.rate == pytest.approx(1000, rel=1e-4)
    assert len(list(trace.blocks())) == 1


@pytest.mark.parametrize(
    ("change", "join"), [(0.25, "gap"), (-0.25, "time-backward"), (-0.001, "time-repeated"), (0.001, "gap")]
)
def test_jump_begins_a_new_block(tmp_path: Path, change: float, join: str) -> None:
    time = np.arange(3000) / 1000
    time[2000:] += change
    blocks = list(read_columns(_write(tmp_path / "a.csv", time)).trace().blocks())
    assert [(b.first, b.join) for b in blocks] == [(0, ""), (2000, join)]
    assert blocks[1].start == pytest.approx(2.0 + change, abs=1e-6)  # printed to the microsecond
    assert sum(b.samples.size for b in blocks) == 3000


def test_missing_cells_are_nan_inside_and_end_a_channel_outside(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("t_s;a_N;b_N\n0,0;1;5\n0,1;;6\n0,2;NaN;\n0,3;4;\n0,4;5;\n0,5;;\n0,6;;\n")
    a, b = read_columns(path).traces
    np.testing.assert_array_equal(a.read(), [1, np.nan, np.nan, 4, 5])
    np.testing.assert_array_equal(b.read(), [5, 6])
    assert sum(block.samples.size for block in a.blocks()) == 5


def test_a_missing_stamp_is_carried_on(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("t_s,a_N\n0.0,1\n0.1,2\n,3\n0.3,4\n0.4,5\n")
    (block,) = read_columns(path).trace().blocks()
    assert block.samples.tolist() == [1, 2, 3, 4, 5]


def test_channels_with_their_own_time_columns_keep_their_rates(tmp_path: Path) -> None:
    lines = ["t1 [s]\tF [N]\ttime 2 [ms]\tacc [g]"]
    for i in range(1000):
        slow = f"{i * 10}\t{i}" if i < 100 else "\t"
        lines.append(f"{i / 1000:.3f}\t{i}\t{slow}")
    (tmp_path / "a.txt").write_text("\n".join(lines) + "\n")
    recording = read_columns(tmp_path / "a.txt", columns=None)
    force, acc = recording.traces
    assert (force.rate, acc.rate) == (1000.0, 100.0)
    assert force.read().size == 1000
    np.testing.assert_allclose(acc.read(), np.arange(100) * 9.80665, rtol=1e-15)


def test_rate_given_without_time_column(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("F [N]\n1\n2\n3\n")
    (trace,) = read_columns(tmp_path / "a.txt", rate=500).traces
    assert trace.rate == 500
    assert trace.read().tolist() == [1, 2, 3]


def test_row_numbers_and_a_rate_make_time(tmp_path: Path) -> None:
    rows = [f"{i};{i}" for i in range(100) if i not in (50, 51)]
    (tmp_path / "a.txt").write_text("Sample;F [N]\n" + "\n".join(rows) + "\n")
    blocks = list(read_columns(tmp_path / "a.txt", rate=1000).trace().blocks())
    assert [(b.first, b.start, b.join) for b in blocks] == [(0, 0.0, ""), (50, pytest.approx(0.052), "gap")]


def test_rate_in_the_header(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("Abtastrate: 2,5 kHz\n\nKraft [N]\n1,5\n2,5\n3,5\n4,5\n")
    (trace,) = read_columns(tmp_path / "a.txt").traces
    assert trace.rate == 2500
    assert trace.read().tolist() == [1.5, 2.5, 3.5, 4.5]


def test_rate_against_the_time_column_is_refused(tmp_path: Path) -> None:
    path = _write(tmp_path / "a.csv", np.arange(100) / 1000)
    assert read_columns(path, rate=1000).trace().rate == 1000
    with pytest.raises(
        RecordingError, match="rate is given as 2000 Hz, but time column 't' advances at 1000 Hz"
    ):
        read_columns(path, rate=2000)


def test_rate_that_changes_is_refused_where_it_changes(tmp_path: Path) -> None:
    time = np.concatenate([np.arange(40_000) / 1000, 40 + np.arange(40_000) / 900])
    trace = read_columns(_write(tmp_path / "a.csv", time)).trace()
    with pytest.raises(RecordingError, match=r"after row \d+ the time column advances at 9\d\d"):
        trace.read()


def test_uneven_time_is_refused(tmp_path: Path) -> None:
    time = np.cumsum(np.random.default_rng(2).exponential(1e-3, 500))
    with pytest.raises(RecordingError, match="not evenly sampled"):
        read_columns(_write(tmp_path / "a.csv", time))


def test_time_that_stands_still_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="do not advance"):
        read_columns(_write(tmp_path / "a.csv", np.zeros(50)))


def test_time_without_unit_is_asked_for(tmp_path: Path) -> None:
    path = _write(tmp_path / "a.csv", np.arange(100.0), header="Time,F [N]")
    with pytest.raises(UnitError, match="time column 'Time' states no unit"):
        read_columns(path)
    assert read_columns(path, units={"Time": "ms"}).trace().rate == 1000
    # A stated rate leaves one unit that fits.
    assert read_columns(path, rate=1000).trace().rate == 1000
