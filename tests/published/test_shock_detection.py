"""
Drop-table shocks recorded by others: one event in each channel.

Source: High-Rate-SHM-Working-Group, Dataset-5 @1bbfcf1 and Dataset-11 @364cb81, CC BY-SA 4.0. One drop
of the table is one recording. Acceleration serves as force here: only shape and time matter.
"""

from __future__ import annotations

import numpy as np
import pytest

from quintain.numerics.onset import find_strikes
from shared_data import shared


@pytest.mark.parametrize("number", ["001", "002", "003"])
@pytest.mark.parametrize("column", [1, 2])
def test_two_channel_recordings(number, column):
    with shared("shocks", f"Test_{number}.lvm").open(encoding="latin-1") as lines:
        rows = [line.split(",") for line in lines][25:]
    trace = np.array([float(row[column]) for row in rows if row[column : column + 1] not in ([], [""])])
    (event,) = find_strikes(trace, 51_200.0)
    assert event.start <= int(np.argmax(np.abs(trace))) < event.stop
    assert "cut-off" not in event.flags


@pytest.mark.parametrize("number", ["07", "10"])
@pytest.mark.parametrize("column", [1, 2])
def test_recordings_without_header(number, column):
    trace = np.genfromtxt(
        shared("shocks", "no_header", f"shock_{number}.lvm"), delimiter="\t", usecols=column
    )
    (event,) = find_strikes(trace, 200_000.0)
    assert event.start <= int(np.argmax(np.abs(trace))) < event.stop


@pytest.mark.parametrize("number", [0, 1, 2, 10])
@pytest.mark.parametrize("place", ["base", "pcb"])
def test_two_column_text(number, place):
    trace = np.loadtxt(shared("shocks", "plain_text", f"acc_{place}_a{number}.txt"), usecols=1)
    (event,) = find_strikes(trace, 50_000.0)
    # the base's record begins inside the shock, the board's ends while it rings
    assert "cut-off" in event.flags
    # every board channel stands in rows of equal values near +546.3 or -546.7, its limits; no base channel
    assert ("clipped" in event.flags) == (place == "pcb")
