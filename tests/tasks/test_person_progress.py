"""A person's course over sessions, against means taken by hand and the rule of the study."""

from __future__ import annotations

import numpy as np
import pytest

from invented_lab import invent_lab
from quintain.store.queries import strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.study.typical_error import assess_typical_error
from quintain.tasks.people import add_person
from quintain.tasks.person_progress import person_progress


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    with invent_lab(tmp_path_factory.mktemp("progress") / "lab", n_sessions=6, per_recording=24) as lab:
        yield lab


def by_hand(lab, person, kind, quantity):
    """Means of accepted strikes by session, straight from the rows."""
    chosen = StrikeFilter(
        people=(person,), types=(kind.type,), sides=(kind.side,), rigs=(kind.rig,), states=("accepted",)
    )
    values: dict[str, list[float]] = {}
    for row in strike_page(lab, chosen, limit=1000).rows:
        if (value := row.quantities[quantity].value) is not None:
            values.setdefault(row.session, []).append(value)
    return {session: float(np.mean(found)) for session, found in values.items()}


def test_sessions_of_one_rig_in_order_of_time(lab):
    found = person_progress(lab, "P02", quantities=("impulse",))
    (line,) = found.lines
    expected = by_hand(lab, "P02", found.kind, "impulse")
    assert line.sessions == tuple(sorted(expected))
    # both are means of the same doubles; orders of summing differ
    assert line.means == pytest.approx([expected[s] for s in line.sessions], rel=1e-12)
    assert len({row.rig for row in found.kinds if row == found.kind}) == 1


def test_the_error_of_measurement_is_that_of_everybody(lab):
    found = person_progress(lab, "P02", quantities=("impulse",))
    (line,) = found.lines
    means = {p: by_hand(lab, p, found.kind, "impulse") for p in ("P01", "P02", "P03", "P04", "P05")}
    table = [[m[s] for s in line.sessions] for m in means.values() if set(line.sessions) <= set(m)]
    assert line.n_people == len(table)
    assert line.progress.rule.sem == pytest.approx(assess_typical_error(np.array(table)).sem, rel=1e-9)
    last = line.progress.changes[-1]
    assert last.change == pytest.approx(line.means[-1] - line.means[0], rel=1e-12)
    assert last.real == (abs(last.change) > line.progress.mdc)


def test_a_kind_may_be_asked_for(lab):
    kinds = person_progress(lab, "P01").kinds
    other = kinds[-1]
    asked = {"type": other.type, "side": other.side, "rig": other.rig}
    assert person_progress(lab, "P01", **asked).kind == other
    assert person_progress(lab, "P01", type="wave").kind == kinds[0]


def test_left_against_right_within_one_type_and_rig(lab):
    found = person_progress(lab, "P03", quantities=("peak_force",))
    assert found.sides
    for line in found.sides:
        values = {"left": [], "right": []}
        chosen = StrikeFilter(people=("P03",), types=(line.type,), rigs=(line.rig,), states=("accepted",))
        for row in strike_page(lab, chosen, limit=1000).rows:
            if (value := row.quantities["peak_force"].value) is not None:
                values[row.side].append(np.log(value))
        ratio = np.mean(values["left"]) - np.mean(values["right"])
        assert line.asymmetry.log_ratio == pytest.approx(ratio, rel=1e-9, abs=1e-12)


def test_nothing_is_made_of_nothing(lab):
    add_person(lab, "P-new", who="tester")
    found = person_progress(lab, "P-new")
    assert (found.kind, found.lines, found.sides) == (None, (), ())
