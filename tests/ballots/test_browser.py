"""The ballot in headless Chromium, as wide as a phone: usable by hand, by keys, without scripts, and for everybody."""

import os

import pytest

from panel.store.board import session_record
from tests.app.running import CHROMIUM, browser, violations

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM and not os.environ.get("CI"), reason="Chromium is not installed"),
]
PHONE = 390
SEND = "button[value=send]:not(.first)"


@pytest.fixture
def page(running):
    with browser(PHONE, 844) as context:
        page = context.pages[0]
        page.told = []
        page.on("console", lambda message: page.told.append(message.text))
        page.on("pageerror", lambda error: page.told.append(str(error)))
        page.start = f"{running.address}/b/{running.tokens['A01']}"
        yield page


def values(page):
    return page.eval_on_selector_all("input[type=text]", "all => all.map(one => one.value)")


def test_nobody_is_kept_out(page, running):
    paths = ["", "/1/1", "/1/2", "/1/3", "/1/3?open=1", "/reaction"]
    for path in paths:
        page.goto(page.start + path)
        assert violations(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") == PHONE
    page.goto(f"{running.address}/b/wrong")
    assert violations(page) == []


def test_axe_would_notice(page):
    page.goto(f"{page.start}/1/1")
    page.evaluate("document.querySelector('textarea').closest('label').replaceWith(document.querySelector('textarea'))")
    assert any(rule == "label" for rule, _ in violations(page))


def test_a_line_has_no_mark_until_it_is_touched(page):
    page.goto(f"{page.start}/1/3")
    assert values(page) == ["", ""]
    line = page.locator("input[type=range]").first
    assert "blank" in line.get_attribute("class")
    assert line.get_attribute("aria-valuetext") == "no mark yet"
    before = line.screenshot()
    box = line.bounding_box()
    page.mouse.click(box["x"] + 14 + 0.25 * (box["width"] - 28), box["y"] + 10)
    first, second = values(page)
    assert float(first) == pytest.approx(25, abs=1)
    assert second == ""
    assert line.get_attribute("aria-valuetext") == "25 percent of the line"
    assert line.screenshot() != before
    assert not page.locator("label.n").first.is_visible()  # no number is shown


def test_a_line_can_be_marked_by_keys(page):
    page.goto(f"{page.start}/1/3")
    line = page.locator("input[type=range]").first
    line.focus()
    seen = []
    for key in ("ArrowRight", "ArrowRight", "PageDown", "ArrowLeft", "Home", "End"):
        page.keyboard.press(key)
        seen.append(float(values(page)[0]))
    assert seen == [50, 51, 41, 40, 0, 100]


def test_cannot_judge_takes_the_mark_away_and_a_mark_the_tick(page):
    page.goto(f"{page.start}/1/1")
    line, tick = page.locator("input[type=range]").first, page.locator("input[type=checkbox]").first
    line.focus()
    page.keyboard.press("End")
    tick.check()
    assert values(page) == [""]
    assert "blank" in line.get_attribute("class")
    line.focus()
    page.keyboard.press("Home")
    assert values(page) == ["0"]
    assert not tick.is_checked()


def test_marks_survive_a_reload_and_do_not_come_back_once_sent(page, running):
    page.goto(f"{page.start}/1/3")
    page.locator("input[type=range]").first.focus()
    page.keyboard.press("End")
    page.reload()
    assert values(page) == ["100", ""]
    page.click(SEND)
    page.wait_for_url("**?open=1")
    assert values(page) == ["", ""]
    page.goto(page.start)
    page.goto(f"{page.start}/1/3")
    assert values(page) == ["", ""]


def test_a_whole_sample_is_answered_by_hand(page, running):
    page.goto(page.start)
    page.click("a.go")
    for stage in range(4):
        if page.locator("text=I have stopped rubbing now").count():
            page.click("text=I have stopped rubbing now")
            page.wait_for_selector("text=The end of rubbing is noted")
        for line in page.locator("input[type=range]").all():
            line.focus()
            page.keyboard.press("PageUp")
        page.click(SEND)
        page.wait_for_load_state()
        if stage in (1, 2):
            running.clock.later(20)
            page.goto(page.start)
            page.click("a.go")
    record = session_record(running.store, running.collection, "1")
    assert record.count(b'"kind":"answer"') == 5
    assert page.told == []  # no script was blocked, none failed


def test_the_clock_counts_down(page, running):
    page.goto(f"{page.start}/1/2")
    page.click("text=I have stopped rubbing now")
    page.goto(f"{page.start}/1/3")
    shown = page.locator("#left").text_content()
    assert shown in (", in 2 min 0 s", ", in 1 min 59 s")
    page.wait_for_function("shown => document.getElementById('left').textContent !== shown", arg=shown, timeout=5000)


def test_everything_works_without_scripts(running):
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = chromium.new_context(java_script_enabled=False, viewport={"width": PHONE, "height": 844}).new_page()
        page.goto(f"{running.address}/b/{running.tokens['A01']}")
        page.click("a.go")
        page.fill("input[name=v0]", "48,7")
        page.keyboard.press("Enter")  # sends; does not note the end of rubbing
        page.wait_for_url("**/1/2")
        page.fill("input[name=v0]", "12.5")
        page.keyboard.press("Enter")
        page.wait_for_url("**/1/2?open=1")
        page.click("text=I have stopped rubbing now")
        page.wait_for_selector("text=Nothing to do until")
        page.click("text=Something is wrong with my skin")
        page.fill("textarea", "itching")
        page.click("text=Report and stop my ballot")
        page.wait_for_selector("text=Your ballot has stopped")
        chromium.close()
    record = session_record(running.store, running.collection, "1").decode()
    assert '"value":48.7' in record
    assert '"value":12.5' in record
    assert record.count("rubbing_ended") == 1
