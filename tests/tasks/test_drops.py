"""A recording of drops becomes a verdict: settings, gravity, modes, bad samples, many drops in a row."""

from __future__ import annotations

import numpy as np
import pytest

from dropped_mass import DEAD, FOAM, GRAVITY, LOSSY, drop, record, true_speed
from quintain.domain.drop import DROP_CAUTION, DropSettings
from quintain.domain.rig import Calibration, Cell, Mode, Place, Rig
from quintain.domain.trace import ArraySamples, Trace
from quintain.errors import AnalysisError, UsageError
from quintain.tasks.drops import analyse_drops

RATE = 1000.0
RIG = Rig("invented", modes=(Mode(200.0, 0.02),), calibration=Calibration(u_gain=0.0025))
HEIGHTS = (0.3, 0.5, 0.8)
CELL_STIFFNESS = 3.0 * (2 * np.pi * 200.0) ** 2


def trace(samples):
    return Trace("Fz", "force", "N", RATE, ArraySamples(samples, RATE))


@pytest.fixture(scope="module")
def three():
    """Invented: three drops in one recording, the mass lifted off in between."""
    return np.concatenate([record(drop(FOAM, h), RATE, seed=i)[0] for i, h in enumerate(HEIGHTS)])


def settings(**given):
    return DropSettings(**{"mass": 5.0, "gravity": GRAVITY, "u_gravity": 5e-4, **given})


def test_three_heights_pass(three):
    test = analyse_drops(trace(three), settings(heights=HEIGHTS, cell_stiffness=CELL_STIFFNESS), rig=RIG)
    assert test.verdict == "pass"
    assert [d.verdict for d in test.drops] == ["pass"] * 3
    for one, height in zip(test.drops, HEIGHTS, strict=True):
        speed = one.quantities["approach_speed"]
        assert speed.value == pytest.approx(np.sqrt(2 * GRAVITY * height), rel=0.006)
        assert speed.u == pytest.approx(np.sqrt(sum(c.u**2 for c in speed.budget)))
        assert one.pad is not None
        assert one.pad.quantities["pad_compression"].value == pytest.approx(
            drop(FOAM, height).compression.max(), rel=0.03
        )
    assert test.quantities["gain"].value == pytest.approx(1.0, abs=0.003)
    assert test.quantities["gain"].u < 0.0015
    assert test.agreement.n == 3
    assert test.agreement.slope == pytest.approx(1.0, abs=0.01)
    assert test.caution == DROP_CAUTION
    assert test.history[0].settings["mass"] == 5.0


def test_wrong_gain_fails(three):
    test = analyse_drops(trace(1.02 * three), settings(heights=HEIGHTS), rig=RIG)
    assert test.verdict == "fail"
    assert test.quantities["gain_without_height"].value == pytest.approx(1 / 1.02, rel=0.004)


def test_gain_of_the_rig_file_is_applied(three):
    calibrated = Rig("invented", modes=RIG.modes, calibration=Calibration(gain=1 / 1.02, u_gain=0.0025))
    assert analyse_drops(trace(1.02 * three), settings(heights=HEIGHTS), rig=calibrated).verdict == "pass"


def test_without_height_bounces_decide(three):
    test = analyse_drops(trace(three), settings(), rig=RIG)
    assert test.verdict == "pass"
    assert "gain" not in test.quantities
    assert test.agreement is None


def test_one_drop_that_disagrees_is_not_averaged_away(three):
    test = analyse_drops(trace(three), settings(heights=(0.3, 0.5, 0.7)), rig=RIG)
    assert test.verdict != "pass"
    assert any("Drop 3" in reason for reason in test.reasons)


def test_modes_are_found_in_the_drops(three):
    test = analyse_drops(trace(three), settings(heights=HEIGHTS))
    assert "mode-from-recording" in {f.code for f in test.flags}
    assert test.verdict == "pass"


def test_gravity_from_the_place(three):
    placed = Rig("invented", modes=RIG.modes, place=Place(latitude=45.0, altitude=0.0))
    test = analyse_drops(trace(three), DropSettings(5.0, HEIGHTS), rig=placed)
    # WGS 84 normal gravity at 45 degrees: 9.8061978 m/s²
    assert test.settings["gravity"] == pytest.approx(9.8061978, abs=1e-6)
    assert not {f.code for f in test.flags} & {"gravity-assumed"}
    unplaced = analyse_drops(trace(three), DropSettings(5.0, HEIGHTS), rig=RIG)
    assert "gravity-assumed" in {f.code for f in unplaced.flags}
    assert unplaced.settings["u_gravity"] > 0.01


def test_cell_that_reads_a_push_as_negative(three):
    turned = Rig("invented", cell=Cell(direction="negative"), modes=RIG.modes, calibration=RIG.calibration)
    assert analyse_drops(trace(-three), settings(heights=HEIGHTS), rig=turned).verdict == "pass"
    assert analyse_drops(trace(-three), settings(heights=HEIGHTS)).verdict == "pass"


def test_clipped_drop_is_undecided():
    samples = np.minimum(record(drop(FOAM, 0.5), RATE)[0], 1500.0)
    test = analyse_drops(trace(samples), settings(heights=(0.5,)), rig=RIG)
    assert test.verdict == "undecided"
    assert "clipped" in {f.code for f in test.drops[0].flags}
    assert "impulse" not in test.drops[0].quantities


def test_missing_samples_are_undecided():
    motion = drop(FOAM, 0.5)
    samples, begin = record(motion, RATE)
    i = int((motion.touch_times[0] - begin) * RATE)
    samples[i + 8 : i + 12] = np.nan
    test = analyse_drops(trace(samples), settings(heights=(0.5,)), rig=RIG)
    assert test.verdict == "undecided"
    assert "missing-samples" in {f.code for f in test.drops[0].flags}


def test_no_drop_is_undecided():
    noise = np.random.default_rng(1).normal(0, 3.0, 5000)
    test = analyse_drops(trace(noise), settings(heights=(0.5,)), rig=RIG)
    assert test.verdict == "undecided"
    assert test.drops == ()
    assert "No drop" in test.reasons[0]


def test_sticking_mass_is_undecided_with_its_reason():
    test = analyse_drops(trace(record(drop(DEAD, 0.3), RATE)[0]), settings(heights=(0.3,)), rig=RIG)
    assert test.verdict == "undecided"
    assert "did not come back" in test.reasons[0]


def test_lossy_pad_still_gives_speed():
    motion = drop(LOSSY, 0.8)
    test = analyse_drops(trace(record(motion, RATE)[0]), settings(heights=(0.8,)), rig=RIG)
    assert test.drops[0].quantities["approach_speed"].value == pytest.approx(true_speed(motion), rel=0.006)


def test_heights_must_fit_the_drops(three):
    with pytest.raises(UsageError, match="3 drops found, got 2"):
        analyse_drops(trace(three), settings(heights=(0.3, 0.5)), rig=RIG)


def test_too_short_a_recording():
    with pytest.raises(AnalysisError, match="too short"):
        analyse_drops(trace(np.zeros(100)), settings(), rig=RIG)


@pytest.mark.parametrize(
    ("bad", "word"),
    [
        ({"mass": 0.0}, "mass"),
        ({"mass": float("nan")}, "mass"),
        ({"heights": (-0.1,)}, "height"),
        ({"gravity": 1.6}, "gravity"),
        ({"latitude": 91.0}, "latitude"),
        ({"u_mass": 9.0}, "u_mass"),
    ],
)
def test_absurd_settings_are_refused(bad, word):
    with pytest.raises(UsageError, match=word):
        settings(**bad)
