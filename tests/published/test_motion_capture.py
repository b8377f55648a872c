"""
Hand speed of five tennis serves from tracked markers.

Source: kinematics_tennis_serve of kineticstoolkit/kineticstoolkit @169a99d (Apache-2.0): 39 markers at 50 Hz,
C3D and text with the same numbers, and a C3D with gaps. That there are five serves and that the hand
reaches about 12 m/s is what the data's description says; no published value of the speed.
"""

from __future__ import annotations

import csv

import numpy as np
import pytest

from quintain.numerics.track import speed_along_track, speed_from_track
from quintain.readers.registry import read
from shared_data import shared


@pytest.fixture(scope="module")
def markers():
    with shared("motion_c3d", "kinematics_tennis_serve.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    return rows[0], np.array(rows[1:], dtype=float)


def hand(markers):
    header, values = markers
    column = header.index("RFIN[0]")
    return values[:, column : column + 3], values[:, 0]


def test_five_serves_of_about_twelve_metres_a_second(markers):
    from scipy.signal import find_peaks

    position, time = hand(markers)
    speed = speed_along_track(position, time, frames=3)
    peaks, _ = find_peaks(np.nan_to_num(speed), height=7.0, distance=100)
    assert peaks.size == 5
    # a peak of some 60 ms, seen through three frames of 20 ms, is cut; hence the room
    assert speed[peaks] == pytest.approx(12.0, abs=1.0)


def test_c3d_and_text_give_the_same_speed(markers):
    position, time = hand(markers)
    recording = read(shared("motion_c3d", "kinematics_tennis_serve.c3d"))
    twin = np.stack([recording.trace(f"Derrick:RFIN.{axis}").read() for axis in "xyz"], axis=1)
    # the text holds nine decimals: 0.5 nm over intervals of 20 ms
    assert speed_along_track(twin, time) == pytest.approx(
        speed_along_track(position, time), abs=1e-6, nan_ok=True
    )


def test_gaps_stay_gaps():
    recording = read(shared("motion_c3d", "kinematics_tennis_serve_nan.c3d"))
    traces = [recording.trace(f"Derrick:RSHO.{axis}") for axis in "xyz"]
    position = np.stack([trace.read() for trace in traces], axis=1)
    gaps = np.isnan(position).any(axis=1)
    assert gaps.sum() == 145
    speed = speed_along_track(position, np.arange(len(position)) / traces[0].rate)
    assert np.isnan(speed[gaps]).all()
    # two frames on either side need a frame of the gap, and nothing else is lost but the two ends
    spread = np.convolve(gaps, np.ones(5), "same") > 0
    spread[[0, 1, -2, -1]] = True
    assert (np.isnan(speed) == spread).all()


def test_fifty_frames_a_second_are_too_few_for_the_speed_at_an_impact(markers):
    position, time = hand(markers)
    with pytest.raises(ValueError, match="film faster"):
        speed_from_track(position, time, contact=3.98)
