"""Every name that a budget can hold is listed, once, and what strikes share is told from what is new."""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator
from pathlib import Path

import pytest

import quintain
from quintain.domain.as_json import STRIKE_QUANTITIES
from quintain.domain.rig import Rig
from quintain.domain.shared_error import (
    CARRIED,
    CONTRIBUTIONS,
    FREE_OF_GAIN,
    Circumstances,
    shared_contributions,
    sources_of,
)
from quintain.tasks.limb import _WORDS as WORDS_OF_LIMB

SOURCE = Path(quintain.__file__).parent

OF_STRIKES = (
    "numerics/_contact.py", "numerics/_expected_peak.py", "numerics/_impulse.py", "numerics/_rise.py",
    "numerics/ringing.py", "numerics/contact_force.py", "numerics/effective_mass.py",
    "numerics/approach_speed.py", "numerics/_imu_sensitivity.py", "numerics/gates.py", "numerics/track.py",
    "tasks/measure.py", "tasks/motion.py", "tasks/limb.py",
)  # fmt: skip
"""Where contributions to the quantities of a strike are named."""

NOT_IN_A_LAB = {
    "fit",  # of a ring tail: goes into an impulse as 'tail'
    "rebound",
    "definition",  # of a mass by another definition, which no strike states; the default's is 'push not ...'
}


def names_in(path: Path) -> Iterator[str]:
    """Names given to ``combine``, to ``Contribution`` and to a mapping that is handed on to either."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            called = node.func.id if isinstance(node.func, ast.Name) else ""
            if called == "combine":
                yield from (k.arg for k in node.keywords if k.arg)
            elif called == "Contribution" and isinstance(node.args[0], ast.Constant):
                yield str(node.args[0].value)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                if isinstance(target, ast.Name) and target.id in {"parts", "doubts", "found"}:
                    if isinstance(node.value, ast.Dict):
                        yield from (str(k.value) for k in node.value.keys if isinstance(k, ast.Constant))
                elif isinstance(target, ast.Subscript) and isinstance(target.value, ast.Name):
                    key = target.slice
                    if target.value.id in {"parts", "doubts", "found"} and isinstance(key, ast.Constant):
                        yield str(key.value)


def all_names() -> set[str]:
    named = {name for file in OF_STRIKES for name in names_in(SOURCE / file)}
    # a mapping of quantities is no mapping of contributions
    named -= set(STRIKE_QUANTITIES) - {name for names in CARRIED.values() for name in names}
    return (named | set(WORDS_OF_LIMB.values())) - NOT_IN_A_LAB


def test_every_name_of_a_budget_is_listed_and_nothing_else():
    carried = {name for names in CARRIED.values() for name in names}
    assert all_names() == set(CONTRIBUTIONS) | carried
    assert not carried & set(CONTRIBUTIONS), "a carried name is shared as the quantity behind it"


def test_a_new_name_would_be_found(tmp_path):
    file = tmp_path / "new.py"
    file.write_text(
        'parts = {"hearsay": 1.0}\nparts["rumour"] = 2.0\n'
        'combine(1.0, guess=2.0)\nContribution("dream", 1.0)\n',
        encoding="utf-8",
    )
    assert set(names_in(file)) == {"hearsay", "rumour", "guess", "dream"}


def test_no_module_that_names_contributions_is_left_out():
    """Others that call ``combine`` or make a ``Contribution`` are of drops, pads and the tools themselves."""
    others = {
        "numerics/closure.py", "numerics/drop_numbers.py", "numerics/pad_loop.py", "numerics/translate.py",
        "numerics/verdict.py", "numerics/sampling.py", "numerics/limb_numbers.py",
        "numerics/uncertainty/linear.py", "numerics/uncertainty/budget.py", "tasks/measure_drop.py",
        "tasks/translate.py", "web/pages/parts.py", "store/results.py", "domain/measured.py",
    }  # fmt: skip
    makers = {
        path.relative_to(SOURCE).as_posix()
        for path in SOURCE.rglob("*.py")
        if any(f"{maker}(" in path.read_text(encoding="utf-8") for maker in (" combine", "Contribution"))
    }
    assert makers <= others | set(OF_STRIKES), "say above whose contributions it names"


@pytest.mark.parametrize(("quantity", "names"), CARRIED.items())
def test_what_is_carried_rests_on_quantities_of_a_strike(quantity, names):
    assert quantity in STRIKE_QUANTITIES
    assert set(names.values()) <= set(STRIKE_QUANTITIES)
    assert set(STRIKE_QUANTITIES) >= FREE_OF_GAIN


def test_signs_are_kept_and_partly_shared_errors_are_split():
    found = shared_contributions(
        "effective_mass",
        {"effective_mass": [("scale of the speed", -0.04), ("gain", 0.03), ("offset of the speed", 0.02),
                            ("corrected force", 0.01), ("start of contact", 0.0)]},
    )  # fmt: skip
    assert found == {
        "scale of the speed": -0.04,
        "gain": 0.03,
        "corrected force": pytest.approx(0.01 * math.sqrt(0.75)),
    }


def test_a_contribution_that_is_another_quantity_is_shared_as_that_one():
    # impulse 0.5 of which 0.3 gain; speed 0.5 of which -0.4 by its scale: 60 and 80 % of either, with sign
    budgets = {
        "effective_mass_high": [("impulse", 0.10), ("speed", -0.20)],
        "impulse": [("gain", 0.3), ("noise", 0.4)],
        "approach_speed": [("accelerometer_scale", -0.4), ("edge", 0.3)],
    }
    assert shared_contributions("effective_mass_high", budgets) == {
        "gain": pytest.approx(0.06),
        "accelerometer_scale": pytest.approx(0.16),
    }
    assert shared_contributions("effective_mass_high", {**budgets, "impulse": []}) is None


@pytest.mark.parametrize("told", [[], [("gain", None)], [("gain", math.nan)], [("hearsay", 0.1)]])
def test_what_cannot_be_told_is_not_nought(told):
    assert shared_contributions("impulse", {"impulse": told}) is None
    assert shared_contributions("impulse", {}) is None


RIG = """
name = "post (invented)"
pad = "soft"
[cell]
serial = "A1"
[calibration]
u_gain = 0.002
[[modes]]
natural_frequency = 300.0
damping_ratio = 0.02
[[pads]]
name = "soft"
stiffness = 5e5
[[pads]]
name = "hard"
stiffness = 9e5
[sensor]
name = "wrist (invented)"
"""


@pytest.mark.parametrize(
    ("change", "others"),
    [
        (("", ""), set()),
        (('pad = "soft"', 'pad = "soft"\nnote = "moved to the other wall"'), set()),
        (("u_gain = 0.002", "u_gain = 0.002\ngain = 1.01"), {"gain"}),
        (('serial = "A1"', 'serial = "A2"'), {"gain"}),
        (("300.0", "301.0"), {"ringing"}),
        (('pad = "soft"', 'pad = "hard"'), {"pulse"}),
        (('"wrist (invented)"', '"wrist (invented)"\nu_lever_arm = 0.02'), {"sensor"}),
        (("post (invented)", "wall (invented)"), {"gain", "plate", "ringing", "pulse"}),
    ],
)
def test_what_is_stated_alike_is_the_same_error(change, others):
    first, second = (
        sources_of(Circumstances(Rig.from_toml(text), "", "S-1", "jab", "m"))
        for text in (RIG, RIG.replace(*change))
    )
    assert {part for part in first if first[part] != second[part]} == others


def test_session_type_and_method_tell_errors_apart():
    rig = Rig.from_toml(RIG)
    at = Circumstances(rig, "", "S-1", "jab", "m")
    first = sources_of(at)
    for change, others in (
        ({"session": "S-2"}, {"set-up"}),
        ({"type": "cross"}, {"pulse", "limb"}),
        ({"method": "n"}, {"pulse", "limb"}),
        ({"recording": "ab" * 32}, set()),
    ):
        second = sources_of(at._replace(**change))
        assert {part for part in first if first[part] != second[part]} == others
    alone = [sources_of(Circumstances(None, sha, "", "", "m"))["gain"] for sha in ("ab" * 32, "cd" * 32)]
    assert alone[0] != alone[1], "without a rig each recording stands for its own"
