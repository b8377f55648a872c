"""Measured strikes carried to other pads of the rig's library, in Python and from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from quintain.cli.app import app
from quintain.domain.rig import Mode, Rig, RigPad
from quintain.domain.translation import Chain
from quintain.errors import RecordingError, UsageError
from quintain.schemas import load_schema
from quintain.tasks.translate import MeasuredBlow, blows_of_answer, translate_blows

PADS = """
name = "invented rig"
pad = "firm"
[[modes]]
natural_frequency = 220.0
damping_ratio = 0.02
[[pads]]
name = "firm"
stiffness = 8e5
exponent = 1.5
bottoming = 0.045
rate_loss = 0.05
[[pads]]
name = "soft"
stiffness = 3e5
exponent = 1.4
bottoming = 0.060
rate_loss = 0.05
proved_to = 0.010
"""
BLOW = MeasuredBlow(1, (3.0, 0.06), (6.0, 0.06), (4500.0, 20.0), 50.0)


def _answer(folder: Path, **changes: object) -> Path:
    def q(value: float, u: float) -> dict[str, float]:
        return {"value": value, "u": u}

    strike = {
        "number": 1, "effective_mass": q(3.0, 0.06), "approach_speed": q(6.0, 0.06),
        "peak_force": q(4500.0, 20.0),
        "impulse_to_stop": q(3.0 * (6.0 + 50.0 * 0.008), 0.1),
        "time_to_stop": q(0.008, 0.0001), "flags": [],
    }  # fmt: skip
    path = folder / "session.json"
    path.write_text(json.dumps({"command": "analyse", "results": [strike | changes]}), encoding="utf-8")
    return path


def test_a_blow_goes_to_another_pad() -> None:
    (found,) = translate_blows([BLOW], rig=Rig.from_toml(PADS), to="soft", moving_mass=3.0)
    assert found.translated_peak is not None
    assert found.translated_peak.value < 4500.0
    assert found.translated_peak.u is not None
    assert found.translated_peak.u > 0.01 * found.translated_peak.value  # the method's own share alone
    assert "translation-beyond-proof" in {f.code for f in found.flags}


def test_an_unknown_cell_and_another_chain_are_said() -> None:
    (found,) = translate_blows(
        [BLOW], rig=Rig.from_toml(PADS), to="soft", chain=Chain(natural_frequency=120.0, rate=500.0)
    )
    assert "cell-compliance-unknown" in {f.code for f in found.flags}
    assert found.shown is not None
    assert found.shown[0] < found.shown[1] < found.shown[2]
    assert found.translated_peak is not None
    assert found.shown[2] > found.translated_peak.value  # it rings


def test_pads_that_are_not_there_are_named() -> None:
    with pytest.raises(UsageError, match="there are: firm, soft"):
        translate_blows([BLOW], rig=Rig.from_toml(PADS), to="thick")
    with pytest.raises(UsageError, match="which pad was hit"):
        translate_blows([BLOW], rig=Rig("r", modes=(Mode(200.0, 0.02),), pads=(RigPad("a", 1e5),)), to="a")


def test_the_push_follows_from_the_definition(tmp_path: Path) -> None:
    blows, left, _ = blows_of_answer(_answer(tmp_path))
    assert blows[0].acceleration == pytest.approx(50.0)
    assert left == ()


def test_strikes_without_a_mass_are_left_out(tmp_path: Path) -> None:
    blows, left, _ = blows_of_answer(_answer(tmp_path, effective_mass=None))
    assert (blows, left) == ((), (1,))


def test_what_is_no_answer_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    path.write_text('{"command": "tap", "results": {}}')
    with pytest.raises(RecordingError, match="got 'tap'"):
        blows_of_answer(path)
    path.write_text("no json")
    with pytest.raises(RecordingError, match="cannot be read"):
        blows_of_answer(path)


def test_the_command(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    rig.write_text(PADS)
    arguments = ["translate", str(_answer(tmp_path)), "--rig", str(rig), "--to", "soft", "--moving-mass", "3"]
    found = CliRunner().invoke(app, [*arguments, "--json"])
    assert found.exit_code == 0, found.output
    answer = json.loads(found.stdout)
    Draft202012Validator(load_schema("translate")).validate(answer)
    assert answer["results"]["translations"][0]["translated_peak"]["unit"] == "N"
    assert answer["results"]["assumptions"]
    plain = CliRunner().invoke(app, [*arguments, "--as-frequency", "120", "--as-rate", "500"])
    assert "another chain" in plain.stdout
    chain = CliRunner().invoke(app, [*arguments, "--as-frequency", "120", "--as-rate", "500", "--json"])
    answer = json.loads(chain.stdout)
    Draft202012Validator(load_schema("translate")).validate(answer)
    assert answer["method"]["as_natural_frequency"] == 120.0
    assert answer["results"]["translations"][0]["shown_by_chain_N"]["lowest"] > 0
    empty = _answer(tmp_path, approach_speed=None)
    refused = CliRunner().invoke(app, ["translate", str(empty), "--rig", str(rig), "--to", "soft"])
    assert refused.exit_code == 1
