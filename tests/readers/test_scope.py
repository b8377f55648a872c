"""Oscilloscope text with its header beside the samples, from the file to an analysis."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.errors import ChannelError, UnitError
from quintain.readers.registry import read
from reader_samples import FORCE, SAMPLES
from shared_data import shared

RUN = CliRunner()


def _sample(tmp_path: Path) -> Path:
    path = tmp_path / "scope.csv"
    next(s for s in SAMPLES if s.reader == "scope").write(path)
    return path


def test_time_is_that_of_the_trigger(tmp_path: Path) -> None:
    (trace,) = read(_sample(tmp_path)).traces
    (block,) = trace.blocks()
    assert block.start == pytest.approx(-0.1, abs=1e-12)
    np.testing.assert_array_equal(block.samples, FORCE)


def test_unit_and_channel_that_are_not_there(tmp_path: Path) -> None:
    path = _sample(tmp_path)
    path.write_text(path.read_text().replace('"Vertical Units","V"', '"Model","x"'))
    with pytest.raises(UnitError, match="units='CH1=N'"):
        read(path).trace()
    assert read(path, units="kN").trace().read()[1] == 1000 * FORCE[1]
    with pytest.raises(ChannelError, match="'CH2'"):
        read(path, units="CH2=N")


def test_real_file_from_peek_to_analysis() -> None:
    # lanl/HopPyBar, BSD-3-Clause: a strain gauge on a bar, in volts; its unit is not in the file. A force of
    # one kilonewton a volt is stated here only so that there is something to analyse.
    path = str(shared("bar_pulses", "180303_171828_Ch1.csv"))
    answer = json.loads(RUN.invoke(app, ["peek", path, "--json"]).stdout)["results"]
    assert answer["reader"] == "scope"
    (channel,) = answer["channels"]
    assert (channel["name"], channel["unit"], channel["rate_hz"]) == ("signal", "?", 125e6)
    assert "units='signal=N'" in channel["problem"]
    assert '"Sample Interval",8.00000000e-009,s' in answer["header"]
    refused = RUN.invoke(app, ["analyse", path])
    assert refused.exit_code == 3
    assert refused.stderr.count("\n") == 1
    assert "units='signal=N'" in refused.stderr
    stated = ["--setting", "units=signal=kN"]
    (channel,) = json.loads(RUN.invoke(app, ["peek", path, *stated, "--json"]).stdout)["results"]["channels"]
    samples = np.loadtxt(path, delimiter=",", usecols=4)
    assert channel["samples"] == samples.size == 50_000
    assert (channel["lowest"], channel["highest"]) == (1000 * samples.min(), 1000 * samples.max())
    assert RUN.invoke(app, ["analyse", path, *stated]).exit_code == 0


def test_waveforms_beside_parameters_by_settings() -> None:
    path = str(shared("bar_pulses", "20061201_1148HE_CuOFE_273K.raw"))
    stated = [
        f"--setting={s}" for s in ("columns=incident=3[kN],transmitted=4[V]", "rate=1e7", "first_row=4")
    ]
    answer = json.loads(RUN.invoke(app, ["peek", path, *stated, "--json"]).stdout)["results"]
    assert [c["samples"] for c in answer["channels"]] == [5000, 5000]
    assert RUN.invoke(app, ["analyse", path, *stated]).exit_code == 0
