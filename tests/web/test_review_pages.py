"""Review of a session by keyboard, by plain forms, and by two people at once."""

from __future__ import annotations

import re

import pytest

from quintain.store.lab import Lab
from quintain.store.queries import strike_page
from quintain.store.queries_filter import StrikeFilter
from quintain.tasks import review
from web_server import token

PATH = "/sessions/S2/review"


def rows_of(folder):
    with Lab.open(folder) as lab:
        return strike_page(lab, StrikeFilter(sessions=("S2",))).rows


@pytest.fixture
def waiting(small_lab):
    """Ids of the strikes of S2; all of them wait, before and after."""

    def reset():
        with Lab.open(small_lab) as lab:
            for row in strike_page(lab, StrikeFilter(sessions=("S2",))).rows:
                if row.state != "waiting":
                    review.wait_again(lab, row.id, who="tester")
                if row.note:
                    review.note(lab, row.id, "", who="tester")

    reset()
    yield [row.id for row in rows_of(small_lab)]
    reset()


def post(client, strike, action, changes=None, headers=None, **fields):
    page = client.get(f"{PATH}?strike={strike}").text
    seen = re.search(r'name="changes" value="(\d+)"', page)[1] if changes is None else changes
    form = {"csrf": token(client, f"{PATH}?strike={strike}"), "strike": strike, "action": action,
            "changes": seen, **fields}  # fmt: skip
    return client.post(PATH, data=form, headers=headers or {})


# -- plain forms


def test_a_form_goes_on_to_the_next_strike_and_says_what_was_done(small_client, small_lab, waiting):
    answer = post(small_client, waiting[0], "accept")
    assert answer.status_code == 303
    assert f"strike={waiting[1]}" in answer.headers["location"]
    assert "Strike 1 accepted." in small_client.get(answer.headers["location"]).text
    assert rows_of(small_lab)[0].state == "accepted"


def test_rejecting_needs_a_reason_and_whoever_is_late_keeps_theirs(small_client, small_lab, waiting):
    assert post(small_client, waiting[0], "reject").status_code == 422
    seen = rows_of(small_lab)[0].changes
    post(small_client, waiting[0], "accept")
    answer = post(small_client, waiting[0], "reject", changes=seen, reason="glancing, off the pad")
    assert answer.status_code == 409
    assert "was changed since you looked at it" in answer.text
    assert 'value="glancing, off the pad"' in answer.text
    assert rows_of(small_lab)[0].state == "accepted"


def test_acts_of_nonsense_are_words(small_client, waiting):
    assert "expected a whole number" in post(small_client, waiting[0], "retag", series="some").text
    assert "no such act of review" in post(small_client, waiting[0], "applaud").text
    assert post(small_client, waiting[0], "retag", type="wave").status_code == 422


def test_a_script_is_answered_in_words_it_can_use(small_client, waiting):
    json = {"Accept": "application/json"}
    told = post(small_client, waiting[1], "accept", headers=json).json()
    assert told == {"said": "Strike 2 accepted.", "changed": waiting[1], "show": waiting[2], "position": 2}
    told = post(small_client, waiting[1], "undo", headers=json).json()
    assert told["show"] == waiting[1]
    late = post(small_client, waiting[1], "accept", changes=0, headers=json)
    assert late.status_code == 409
    assert "Nothing was written" in late.json()["problem"]


def test_a_filter_leads_through_its_own_strikes(small_client, small_lab, waiting):
    with Lab.open(small_lab) as lab:
        review.accept(lab, waiting[1], who="tester")
    page = small_client.get(f"{PATH}?state=waiting").text
    assert re.search(r'data-strike="(\d+)"', page)[1] == str(waiting[0])
    assert re.search(r'data-next="(\d+)"', page)[1] == str(waiting[2])
    assert "1 of 3" in page


# -- by keyboard


def focus_is_seen(page):
    return page.evaluate(
        "(e => { const s = getComputedStyle(e); return e !== document.body && e.matches(':focus-visible')"
        " && (s.outlineStyle === 'solid' || s.boxShadow !== 'none'); })(document.activeElement)"
    )


def at(page, strike):
    page.wait_for_selector(f"#now[data-strike='{strike}']")


def said(page, words):
    page.wait_for_function("words => document.getElementById('said').textContent.includes(words)", arg=words)


def test_from_the_first_strike_to_the_last_by_keyboard_alone(small_browser, small_lab, waiting):
    page = small_browser.page(PATH)
    at(page, waiting[0])
    assert focus_is_seen(page)
    page.keyboard.press("a")
    at(page, waiting[1])
    said(page, "Strike 1 accepted. Strike 2, 2 of 4")
    assert focus_is_seen(page)

    page.keyboard.press("n")
    assert page.evaluate("document.activeElement.name") == "note"
    page.keyboard.type("glove slipped")
    for _ in range(2):
        page.keyboard.press("Tab")
        assert focus_is_seen(page)
    page.keyboard.press("Enter")
    said(page, "Strike 2 has its note.")
    at(page, waiting[1])

    page.keyboard.press("r")
    assert page.evaluate("document.activeElement.name") == "reason"
    page.keyboard.press("Escape")
    assert page.evaluate("document.querySelector('dialog[open]')") is None
    page.keyboard.press("r")
    page.keyboard.type("glancing")
    page.keyboard.press("Enter")
    at(page, waiting[2])
    said(page, "Strike 2 rejected.")
    assert focus_is_seen(page)

    page.keyboard.press("j")
    at(page, waiting[3])
    page.keyboard.press("k")
    at(page, waiting[2])
    page.keyboard.press("a")
    at(page, waiting[3])
    said(page, "Strike 3 accepted.")
    page.keyboard.press("a")
    said(page, "Strike 4 accepted.")
    rows = rows_of(small_lab)
    assert [row.state for row in rows] == ["accepted", "rejected", "accepted", "accepted"]
    assert (rows[1].reason, rows[1].note) == ("glancing", "glove slipped")

    page.keyboard.press("u")
    said(page, "Strike 4 is as it was before your last act.")
    page.keyboard.press("u")
    at(page, waiting[2])
    said(page, "Strike 3 is as it was")
    assert [row.state for row in rows_of(small_lab)] == ["accepted", "rejected", "waiting", "waiting"]
    page.keyboard.press("s")
    at(page, waiting[3])
    page.go_back()
    at(page, waiting[2])


def test_every_key_has_a_button(small_browser, waiting):
    page = small_browser.page(f"{PATH}?strike={waiting[1]}")
    at(page, waiting[1])
    keys = page.evaluate("[...document.querySelectorAll('#stage .acts-bar kbd')].map(k => k.textContent)")
    assert keys == ["K", "J", "S", "A", "R", "T", "N", "U"]


def test_two_at_once_are_told_and_nothing_typed_is_lost(small_browser, small_lab, waiting):
    slow = small_browser.page(f"{PATH}?strike={waiting[0]}")
    at(slow, waiting[0])
    with Lab.open(small_lab) as lab:
        review.accept(lab, waiting[0], who="somebody else")
    slow.keyboard.press("r")
    slow.keyboard.type("hit the frame")
    slow.keyboard.press("Enter")
    slow.wait_for_selector("#trouble .notice")
    assert "the last to change it was somebody else (accept)" in slow.inner_text("#trouble")
    at(slow, waiting[0])
    slow.wait_for_selector("dialog#reject[open]")
    assert slow.input_value("#reject [name=reason]") == "hit the frame"
    assert rows_of(small_lab)[0].state == "accepted"
    slow.keyboard.press("Enter")  # having seen it, the same reason goes through
    at(slow, waiting[1])
    said(slow, "Strike 1 rejected.")
    assert rows_of(small_lab)[0].reason == "hit the frame"
    # the refusal itself is what the browser logs
    assert [e for e in small_browser.errors if "409" not in e] == []
    small_browser.errors.clear()


def test_two_tabs_each_act_on_what_they_show(small_browser, small_lab, waiting):
    first, second = (small_browser.page(f"{PATH}?strike={id}") for id in waiting[:2])
    at(first, waiting[0])
    at(second, waiting[1])
    second.keyboard.press("a")
    at(second, waiting[2])
    said(second, "Strike 2 accepted.")
    first.keyboard.press("a")
    at(first, waiting[1])
    said(first, "Strike 1 accepted.")
    assert [row.state for row in rows_of(small_lab)][:2] == ["accepted", "accepted"]


def test_review_without_scripts(small_browser, small_lab, waiting):
    page = small_browser.page(f"{PATH}?strike={waiting[0]}", java_script_enabled=False)
    page.click("text=Accept")
    assert "Strike 1 accepted." in page.inner_text("#said")
    page.fill("#reason-plain", "not a strike")
    page.click("button[value=reject]")
    assert "Strike 2 rejected." in page.inner_text("#said")
    rows = rows_of(small_lab)
    assert [row.state for row in rows[:2]] == ["accepted", "rejected"]
    assert rows[1].reason == "not a strike"


@pytest.mark.parametrize("dark", [False, True])
def test_no_serious_fault_of_accessibility(small_browser, waiting, dark):
    page = small_browser.page(f"{PATH}?strike={waiting[0]}", dark=dark)
    at(page, waiting[0])
    assert small_browser.faults(page) == []
    page.keyboard.press("t")
    assert small_browser.faults(page) == []
