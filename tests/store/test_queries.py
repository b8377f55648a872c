"""Questions over many strikes, against plain loops over the rows and numpy's own means."""

from __future__ import annotations

import dataclasses
import shutil
from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import delete, select, update

from invented_lab import BEGAN, invent_lab
from quintain.errors import LabError, UsageError
from quintain.store.lab import Lab
from quintain.store.queries import (
    SORTS,
    count_strikes,
    matching_strikes,
    neighbours,
    observations,
    strike_page,
)
from quintain.store.queries_columns import COLUMNS, TEXTS, WordList, read_columns
from quintain.store.queries_filter import Limit, StrikeFilter
from quintain.store.queries_fresh import strike_columns
from quintain.store.queries_groups import group_summary
from quintain.store.queries_lists import list_people, list_recordings, list_rigs, list_sessions, list_studies
from quintain.store.schema import Person, Recording, Result, Session, Strike


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    with invent_lab(tmp_path_factory.mktemp("labs") / "lab") as lab:
        yield lab


@pytest.fixture(scope="module")
def rows(lab):
    """Every strike with its result, as the tables hold them."""
    with lab.reading() as database:
        return database.execute(select(Strike, Result).join(Result, Result.id == Strike.result_id)).all()


FILTERS = [
    (StrikeFilter(), lambda s, r: True),
    (StrikeFilter(people=("P01", "P03")), lambda s, r: s.person_id in (1, 3)),
    (StrikeFilter(people=("",)), lambda s, r: s.person_id is None),
    (StrikeFilter(sessions=("S2",), sides=("left",)), lambda s, r: s.session_id == 2 and s.side == "left"),
    (StrikeFilter(types=("jab",), states=("accepted",)),
     lambda s, r: s.type == "jab" and s.state == "accepted"),
    (StrikeFilter(flags=("gap",)), lambda s, r: "gap" in r.codes.split()),
    (StrikeFilter(unflagged=True), lambda s, r: r.codes == ""),
    (StrikeFilter(rigs=("rig 2",), series=(2,)), lambda s, r: s.session_id in (2, 4) and s.series == 2),
    (StrikeFilter(limits=(Limit("impulse", 20.0, 30.0), Limit("peak_force", low=15.0))),
     lambda s, r: r.impulse is not None and 20 <= r.impulse <= 30 and (r.peak_force or 0) >= 15),
    (StrikeFilter(since=BEGAN + timedelta(days=6), until=BEGAN + timedelta(days=8)),
     lambda s, r: s.session_id == 2),
    (StrikeFilter(text="SLIP"), lambda s, r: s.reason == "slipped"),
    (StrikeFilter(methods=("f" * 64,)), lambda s, r: False),
]  # fmt: skip


@pytest.mark.parametrize(("chosen", "rule"), FILTERS)
def test_a_filter_means_the_rows_that_its_rule_means(lab, rows, chosen, rule):
    expected = {s.id for s, r in rows if rule(s, r)}
    assert set(matching_strikes(lab, chosen)) == expected
    assert count_strikes(lab, chosen) == len(expected)
    assert {row.id for row in strike_page(lab, chosen, limit=1000).rows} == expected


@pytest.mark.parametrize("sort", SORTS)
@pytest.mark.parametrize("descending", [False, True])
def test_pages_follow_one_order_and_leave_none_out(lab, sort, descending):
    whole = matching_strikes(lab, sort=sort, descending=descending)
    pages = [
        strike_page(lab, sort=sort, descending=descending, offset=at, limit=37)
        for at in range(0, len(whole), 37)
    ]
    assert [row.id for page in pages for row in page.rows] == list(whole)
    assert {page.total for page in pages} == {len(whole)} == {240}


def test_a_page_sorted_by_a_quantity_rises_and_ends_with_what_is_not_stated(lab):
    values = [row.quantities["impulse"].value for row in strike_page(lab, sort="impulse", limit=1000).rows]
    stated = [v for v in values if v is not None]
    assert 0 < len(stated) < len(values)
    assert values == sorted(stated) + [None] * (len(values) - len(stated))
    down = strike_page(lab, sort="impulse", limit=1000, descending=True).rows
    assert [row.quantities["impulse"].value for row in down] == stated[::-1] + [None] * (
        len(values) - len(stated)
    )


def test_a_row_says_what_the_tables_say(lab, rows):
    by_id = {s.id: (s, r) for s, r in rows}
    for row in strike_page(lab, limit=1000, quantities=("impulse", "energy")).rows:
        strike, result = by_id[row.id]
        assert (row.person or None) == (strike.person_id and f"P{strike.person_id:02d}")
        assert (row.session, row.position, row.start) == (
            f"S{strike.session_id}", strike.position, strike.start,
        )  # fmt: skip
        assert row.quantities == {q: (getattr(result, q), getattr(result, f"u_{q}")) for q in row.quantities}
        assert row.codes == tuple(result.codes.split())
        assert row.rig == f"rig {2 - strike.session_id % 2}"
        recorded = BEGAN + timedelta(days=7 * (strike.session_id - 1), seconds=strike.start)
        assert row.when >= recorded


def test_neighbours_walk_through_all(lab):
    chosen = StrikeFilter(people=("P02",))
    whole = matching_strikes(lab, chosen)
    seen, at = [], whole[0]
    while at is not None:
        here = neighbours(lab, at, chosen)
        assert here.before == (seen[-1] if seen else None)
        seen.append(at)
        assert (here.place, here.total) == (len(seen), len(whole))
        at = here.after
    assert tuple(seen) == whole


def test_neighbours_of_a_strike_that_has_just_left_the_filter(lab):
    waiting = matching_strikes(lab, StrikeFilter(states=("waiting",)))
    accepted = StrikeFilter(states=("accepted",))
    here = neighbours(lab, waiting[5], accepted)
    assert here.before in matching_strikes(lab, accepted)
    assert here.total == count_strikes(lab, accepted) + 1


@pytest.mark.parametrize(
    "by", [(), ("type",), ("type", "side"), ("person",), ("session", "state"), ("series", "rig")]
)
def test_group_sums_equal_numpy(lab, rows, by):
    level = {
        "type": lambda s: s.type,
        "side": lambda s: s.side,
        "person": lambda s: f"P{s.person_id:02d}" if s.person_id else "",
        "session": lambda s: f"S{s.session_id}",
        "state": lambda s: s.state,
        "series": lambda s: str(s.series),
        "rig": lambda s: f"rig {2 - s.session_id % 2}",
    }
    groups = group_summary(lab, by=by, quantities=("impulse",))
    expected: dict[tuple, list] = {}
    for s, r in rows:
        expected.setdefault(tuple(level[name](s) for name in by), []).append((s.person_id, r))
    assert {g.levels for g in groups} == set(expected)
    for group in groups:
        of = expected[group.levels]
        people = {}
        for person, result in of:
            if result.impulse is not None:
                people.setdefault(person, []).append(result.impulse)
        values = np.concatenate(list(people.values()))
        told = group.quantities["impulse"]
        assert (group.n_strikes, told.n) == (len(of), values.size)
        # sums in another order differ by rounding alone
        close = {"rel": 1e-12}
        assert told.mean == pytest.approx(values.mean(), **close)
        assert told.sd == pytest.approx(values.std(ddof=1), **close)
        assert (told.low, told.high) == (values.min(), values.max())
        u = [r.u_impulse for _, r in of if r.u_impulse is not None]
        assert told.u_root_mean_square == pytest.approx(np.sqrt(np.mean(np.square(u))), **close)
        people.pop(None, None)
        own = [np.mean(v) for v in people.values()]
        assert (group.n_people, told.n_people) == (len({p for p, _ in of} - {None}), len(own))
        assert told.person_mean == (pytest.approx(np.mean(own), **close) if own else None)
        assert told.person_sd == (pytest.approx(np.std(own, ddof=1), **close) if len(own) > 1 else None)
        free = sum(len(v) - 1 for v in people.values())
        within = np.sqrt(sum(np.sum((v - np.mean(v)) ** 2) for v in people.values()) / free) if free else None
        assert told.within_sd == (None if within is None else pytest.approx(within, **close))


def test_observations_leave_out_and_count(lab, rows):
    chosen = StrikeFilter(states=("accepted",))
    told = observations(lab, chosen, "impulse", ("type", "series"))
    of = [(s, r) for s, r in rows if s.state == "accepted"]
    full = [(s, r) for s, r in of if r.impulse is not None and s.person_id is not None]
    assert len(told.columns["value"]) == len(full)
    assert sum(told.left_out.values()) == len(of) - len(full)
    by_id = {s.id: (s, r) for s, r in full}
    for id, value, u, person, kind, series in zip(
        *(told.columns[name] for name in ("id", "value", "u", "person", "type", "series")), strict=True
    ):
        strike, result = by_id[id]
        assert (value, u, person) == (result.impulse, result.u_impulse, f"P{strike.person_id:02d}")
        assert (kind, series) == (strike.type, strike.series)


def test_lists_count(lab, rows):
    sessions = list_sessions(lab)
    assert [s.code for s in sessions] == ["S4", "S3", "S2", "S1"]
    for session in sessions:
        of = [(s, r) for s, r in rows if s.session_id == session.id]
        assert session.strikes.total == len(of)
        assert session.strikes.waiting == sum(s.state == "waiting" for s, _ in of)
        assert session.strikes.flagged == sum(bool(r.codes) for _, r in of)
        assert (session.n_people, session.n_recordings, session.n_planned) == (5, 5, 0)
    people = list_people(lab)
    assert [p.strikes.total for p in people] == [sum(s.person_id == p.id for s, _ in rows) for p in people]
    assert {p.n_sessions for p in people} == {4}
    assert [(r.name, r.strikes.total, r.n_versions) for r in list_rigs(lab)] == [
        ("rig 1", 120, 1), ("rig 2", 120, 1),
    ]  # fmt: skip
    recordings, total = list_recordings(lab, session="S2", limit=3)
    assert (len(recordings), total) == (3, 5)
    assert {r.strikes.total for r in recordings} == {12}
    assert list_studies(lab) == ()


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda lab: count_strikes(lab, StrikeFilter(people=("nobody",))), "no person 'nobody'"),
        (lambda lab: count_strikes(lab, StrikeFilter(states=("lost",))), "no state 'lost'"),
        (lambda lab: count_strikes(lab, StrikeFilter(flags=("odd",))), "no flag 'odd'"),
        (lambda lab: count_strikes(lab, StrikeFilter(limits=(Limit("charm"),))), "no quantity 'charm'"),
        (lambda lab: strike_page(lab, sort="charm"), "sorted by 'charm'"),
        (lambda lab: strike_page(lab, quantities=("charm",)), "no 'charm'"),
        (lambda lab: strike_page(lab, offset=-1), "starts at 0"),
        (lambda lab: group_summary(lab, by=("charm",)), "grouped by 'charm'"),
        (lambda lab: observations(lab, quantity="charm"), "no 'charm'"),
    ],
)
def test_what_there_is_not_is_said(lab, ask, words):
    with pytest.raises(UsageError, match=words):
        ask(lab)


def test_a_strike_that_there_is_not(lab):
    with pytest.raises(LabError, match="no strike 12345"):
        neighbours(lab, 12345)


def test_an_empty_lab(tmp_path):
    with invent_lab(tmp_path / "lab", n_sessions=0, n_people=0) as lab:
        assert strike_page(lab) == ((), 0, 0)
        assert group_summary(lab) == ()
        assert list_sessions(lab) == list_people(lab) == ()
        assert observations(lab).columns["value"].size == 0


def test_what_was_just_written_is_seen(tmp_path, url):
    with invent_lab(tmp_path / "lab", n_sessions=2, n_people=2, url=url) as lab:
        assert count_strikes(lab) == 48
        with lab.writing("tester") as writer:
            writer.database.execute(update(Strike).where(Strike.id == 3).values(state="gone"))
            writer.database.execute(update(Session).where(Session.id == 2).values(code="S9"))
            writer.database.execute(update(Person).where(Person.id == 1).values(code="Q1"))
        assert 3 not in matching_strikes(lab)
        assert {row.session for row in strike_page(lab).rows} == {"S1", "S9"}
        assert count_strikes(lab, StrikeFilter(people=("Q1",)))
        with lab.writing("tester") as writer:
            writer.database.execute(update(Strike).where(Strike.id == 4).values(result_id=None))
            writer.database.execute(delete(Result).where(Result.strike_id == 4))
            writer.database.execute(delete(Strike).where(Strike.id == 4))
        assert 4 not in matching_strikes(lab)
        assert count_strikes(lab) == 46


def test_values_are_frozen(lab):
    row = strike_page(lab, limit=1).rows[0]
    with pytest.raises(dataclasses.FrozenInstanceError):
        row.state = "accepted"


def test_columns_from_the_cache_and_after_changes_are_those_of_the_tables(tmp_path, monkeypatch, url):
    """Whatever way columns came to be, they hold what a fresh look at the tables holds."""
    monkeypatch.setattr("quintain.store.queries_fresh.WORTH_KEEPING", 1)
    rng = np.random.default_rng(5)
    with invent_lab(tmp_path / "lab", n_sessions=2, n_people=3, url=url) as lab:
        strike_columns(lab)
        assert list((lab.cache / "strikes").glob("0*/impulse.npy"))
        for step in range(8):
            with lab.writing("tester") as writer:
                _change(writer.database, rng, step)
            with Lab.open(lab.folder) as other, Lab.open(lab.folder) as third:
                shutil.rmtree(third.cache / "strikes") if step % 5 == 4 else None
                told = [strike_columns(each) for each in (lab, other, third)]
                for name in COLUMNS:
                    for columns in told[1:]:
                        assert _plain(columns, name) == _plain(told[0], name)
                with lab.reading() as database:
                    fresh = read_columns(database, words := {name: WordList() for name in TEXTS})
                for name, array in fresh.items():
                    plain = [words[name].words[i] for i in array] if name in TEXTS else array.tolist()
                    assert _plain(told[0], name) == list(map(str, plain))


def _change(database, rng, step):
    strikes = database.scalars(select(Strike.id)).all()
    for id in rng.choice(strikes, 3).tolist():
        database.execute(update(Strike).where(Strike.id == id).values(note=f"note {step}", state="accepted"))
    if step % 3 == 1:
        gone = int(rng.choice(strikes))
        database.execute(update(Strike).where(Strike.id == gone).values(result_id=None))
        database.execute(delete(Result).where(Result.strike_id == gone))
        database.execute(delete(Strike).where(Strike.id == gone))
    if step % 3 == 2:
        sha = database.scalar(select(Recording.sha256).limit(1))
        # an id in a gap, so that order is not the order of entry
        new = min(set(range(1, 500)) - set(strikes))
        database.add(Strike(id=new, recording_sha256=sha, position=1, start=9.0, state="waiting"))
    if step % 4 == 3:
        database.execute(update(Recording).values(rig_id=2))
        database.execute(update(Result).where(Result.id == 5).values(impulse=float(step)))


def _plain(columns, name):
    values = columns[name].tolist()
    return [columns.words[name][i] for i in values] if name in TEXTS else list(map(str, values))


def test_a_damaged_cache_is_thrown_away_and_said(tmp_path, monkeypatch):
    monkeypatch.setattr("quintain.store.queries_fresh.WORTH_KEEPING", 1)
    with invent_lab(tmp_path / "lab", n_sessions=1, n_people=1) as lab:
        before = strike_page(lab, sort="impulse")
    (kept,) = (lab.cache / "strikes").glob("0*/impulse.npy")
    content = bytearray(kept.read_bytes())
    content[-3] ^= 1
    kept.write_bytes(content)
    with Lab.open(lab.folder) as lab, pytest.raises(LabError, match="damaged and has been thrown away"):
        strike_page(lab, sort="impulse")
    with Lab.open(lab.folder) as lab:
        assert strike_page(lab, sort="impulse") == before


def test_a_lab_restored_from_a_copy_is_not_taken_for_its_own_future(tmp_path, monkeypatch):
    monkeypatch.setattr("quintain.store.queries_fresh.WORTH_KEEPING", 1)
    with invent_lab(tmp_path / "lab", n_sessions=1, n_people=1):
        pass
    copy = (tmp_path / "lab" / "lab.db").read_bytes()
    for id in (1, 2):
        with Lab.open(tmp_path / "lab") as lab:
            with lab.writing("tester") as writer:
                writer.database.execute(update(Strike).where(Strike.id == id).values(state="gone"))
            assert id not in matching_strikes(lab)
            assert count_strikes(lab) == 11
        for left in (tmp_path / "lab").glob("lab.db*"):
            left.unlink()
        (tmp_path / "lab" / "lab.db").write_bytes(copy)
