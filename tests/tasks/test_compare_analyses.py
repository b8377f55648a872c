"""What a new analysis changed, against changes whose effect is known beforehand."""

from __future__ import annotations

import pytest

import quintain as q
from quintain.domain.method import Detection
from quintain.errors import LabError, UsageError
from quintain.store.schema import Strike
from quintain.tasks.analyse_lab import analyse_lab
from quintain.tasks.compare_analyses import compare_analyses
from simulated_lab import RIG, make_lab, set_rig


@pytest.fixture
def lab(tmp_path):
    with make_lab(tmp_path, n=2) as lab:
        analyse_lab(lab, who="tester")
        yield lab


def compared(lab, run):
    return compare_analyses(
        lab, [one.earlier for one in run.analysed], [one.saved.analysis_id for one in run.analysed]
    )


def test_a_new_name_changes_no_number(lab):
    found = compared(lab, analyse_lab(lab, who="tester", method=q.Method(name="ours")))
    assert (found.n_recordings, found.n_same, found.n_strikes) == (2, 2, 3)
    assert found.quantities == found.gained == found.lost == ()
    assert found.why == ("method: name 'standard' → 'ours'",)


def test_a_gain_changes_impulse_by_its_size(lab):
    set_rig(lab, RIG + "[calibration]\ngain = 1.02\nu_gain = 0.001\n")
    found = compared(lab, analyse_lab(lab, who="tester", again=True))
    (impulse,) = (change for change in found.quantities if change.quantity == "impulse")
    assert (impulse.n, impulse.n_changed, impulse.n_stated_now, impulse.n_withheld_now) == (3, 3, 0, 0)
    with lab.reading() as database:
        now = [strike.result.impulse for strike in database.query(Strike)]
    # impulse grows in proportion to the gain
    largest = max(now)
    assert impulse.largest_change == pytest.approx(largest - largest / 1.02, rel=1e-6)
    assert impulse.n_beyond_u == 3
    assert impulse.largest_in_u > 1
    assert "rig: calibration none → {'gain': 1.02, 'u_gain': 0.001}" in found.why
    assert any(line.startswith("rig: 'wall (invented)', version ") for line in found.why)


def test_a_method_that_sees_less_loses_strikes(lab):
    # with the ringing the three blows read up to 790, 850 and 902 N
    blind = q.Method(name="blind", detection=Detection(minimum_force=820.0))
    run = analyse_lab(lab, who="tester", method=blind)
    found = compared(lab, run)
    assert len(found.lost) == 1
    assert found.lost[0].recording == "blow_000.csv"
    assert found.lost[0].start == pytest.approx(0.8, abs=0.002)
    assert found.gained == ()
    assert "method: detection.minimum_force 40.0 → 820.0" in found.why
    back = compared(lab, analyse_lab(lab, who="tester", method=q.Method()))
    assert [lone.start for lone in back.gained] == [lone.start for lone in found.lost]
    assert back.lost == ()


def test_a_quantity_that_is_not_corrected_any_more_is_counted_as_withheld(lab):
    raw = q.Method(name="raw", correction=q.Method().correction.__class__(kind="none"))
    found = compared(lab, analyse_lab(lab, who="tester", method=raw))
    changes = {change.quantity: change for change in found.quantities}
    assert changes["peak_force"].n_withheld_now == 3
    assert "method: correction.kind 'smoother' → 'none'" in found.why


def test_a_speed_that_was_stated_is_the_reason(lab):
    with lab.writing("tester") as writer:
        for strike in writer.database.query(Strike):
            strike.recording.speeds = "8.0+-0.2"
    found = compared(lab, analyse_lab(lab, who="tester"))
    assert found.why == ("stated: speeds none → '8.0+-0.2'",)
    changes = {change.quantity: change for change in found.quantities}
    assert changes["approach_speed"].n_stated_now == 3


def test_other_recordings_are_refused(lab):
    with pytest.raises(UsageError, match="different recordings"):
        compare_analyses(lab, 1, 2)
    with pytest.raises(LabError, match="no analysis 99"):
        compare_analyses(lab, 99, 1)
    with pytest.raises(UsageError, match="counterpart"):
        compare_analyses(lab, [1, 2], [1])
