"""
Speed from an inertial sensor against an optical track, on movements between rests.

Source: trial 18 (fast translation with breaks, B) of BROAD, dlaidig/broad @7e2f818, CC BY 4.0, D. Laidig and
others (2021), Data 6(7), 72, doi:10.3390/data6070072 (reference from memory): sensor and
eight-camera optical tracking at 285.7 Hz, movements of 18 to 31 s between rests of 10 s, up to 6.3 m/s.

What limits the agreement: between rests so long apart a drift along a straight line is only roughly what
the sensor's scale and misalignment errors do (a strike lasts a hundredth of that); the markers need not sit
where the sensor does; and the optical speed is a derivative over nine frames (28 ms).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from quintain.numerics.stillness import find_rests, reads_gravity
from quintain.numerics.strapdown import integrate_motion
from quintain.numerics.track import speed_along_track
from shared_data import shared


@pytest.fixture(scope="module")
def trial():
    h5py = pytest.importorskip("h5py")
    path = shared("imu_optical", "18_undisturbed_fast_translation_with_breaks_B.hdf5")
    with h5py.File(path) as file:
        rate = float(file.attrs["sampling_rate"])
        acceleration, rates, position = (file[name][:] for name in ("imu_acc", "imu_gyr", "opt_pos"))
        moving = file["movement"][:]
    rests = find_rests(
        acceleration, rate, angular_rate=rates, shortest=1.0, largest_acceleration=0.3, largest_rate=0.15
    )
    optical = speed_along_track(position, np.arange(len(position)) / rate, frames=9)
    return acceleration, rates, rate, rests, optical, moving


def peaks_of(optical):
    from scipy.signal import find_peaks

    return find_peaks(np.nan_to_num(optical), height=2.0, distance=43, prominence=1.0)[0]


def bursts(trial, *, closed):
    """Speed by the sensor and by the cameras over each movement, from rest to rest."""
    acceleration, rates, rate, rests, optical, _ = trial
    n = round(rate)
    for before, after in pairwise(rests):
        rest, end = (before.stop - n, before.stop), (after.start, after.start + n)
        motion = integrate_motion(
            acceleration, rates, rate, rest=rest, stop=end[1], rest_after=end if closed else None
        )
        yield np.linalg.norm(motion.velocity, axis=1), optical[rest[0] : end[1]]


def test_rests_are_where_the_authors_marked_none_to_be_moving(trial):
    _, _, rate, rests, _, moving = trial
    assert len(rests) == 5
    for rest in rests:
        assert reads_gravity(rest.acceleration)
        # where a movement begins is a matter of a quarter of a second either way
        inner = slice(rest.start + round(0.25 * rate), rest.stop - round(0.25 * rate))
        assert not moving[inner].any()


def test_speed_of_every_burst(trial):
    for sensor, optical in bursts(trial, closed=True):
        seen = np.isfinite(optical)
        difference = (sensor - optical)[seen]
        peaks = peaks_of(optical)
        relative = sensor[peaks] / optical[peaks] - 1
        assert peaks.size > 40
        # measured: 0.07 to 0.09 m/s at any instant, 1.1 to 1.7 % (worst 3.6 %) at the fastest points
        assert np.sqrt(np.mean(difference**2)) < 0.12
        assert np.sqrt(np.mean(relative**2)) < 0.025
        assert np.abs(relative).max() < 0.05


def test_forward_integration_holds_for_the_first_seconds(trial):
    """A strike comes within two seconds of its rest: no correction is needed there."""
    for sensor, optical in bursts(trial, closed=False):
        first = peaks_of(optical)[:4]
        assert sensor[first] == pytest.approx(optical[first], rel=0.03)  # measured: worst 1.6 %
