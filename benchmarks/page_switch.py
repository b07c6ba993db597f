"""How long does somebody wait at the screen after going to another place of the demo, or changing a field?

    python -m benchmarks.page_switch [TIMES]

starts the app as users do and presses in headless Chromium; the page's own clock is read at every frame it draws,
from the press on. Prints the medians of TIMES (10) in milliseconds: until anything of the new place is seen, until its
headline and its picture stand there, and until a changed field has settled; and the load of the machine, which it all
depends on.
"""

from __future__ import annotations

import os
import sys
from statistics import median

from playwright.sync_api import Page

from panel.app.places import PARTS, PLACES
from tests.app.running import address_of, browser, entered, running_app, settled

_PLACES, _PARTS = "[data-testid=stTopNavLink]", "[data-testid=stMain] [role=radiogroup] [role=radio]"
# What stands there: title, headline, the address of the first picture; nothing of what is about to be exchanged.
_SEEN = """() => {
  const fresh = [...document.querySelectorAll('[data-testid=stMain] :is(h1,h2)')].filter(one =>
    one.checkVisibility() && !one.closest('[data-stale=true]'));
  const words = tag => fresh.find(one => one.matches(tag))?.innerText ?? '';
  const picture = [...document.querySelectorAll('[data-testid=stImage] img')].find(one => one.checkVisibility());
  const drawn = picture?.complete && picture.naturalWidth && !picture.closest('[data-stale=true]');
  return [words('h1'), words('h2'), drawn ? picture.src : ''];
}"""
# Presses, then looks at each frame: when is anything different, when is it what is wanted?
_TIMED = f"""([within, press, wanted]) => new Promise(tell => {{
  const seen = {_SEEN};
  const loading = () => document.querySelectorAll('[data-testid=stSkeleton]').length > 0;
  const before = seen().join(), begun = performance.now();
  let first = 0;
  const look = () => {{
    const now = seen();
    if (!first && (loading() || now.join() !== before)) first = performance.now() - begun;
    if (now.join() === wanted.join()) tell([first, performance.now() - begun]);
    else requestAnimationFrame(look);
  }};
  [...document.querySelectorAll(within)].find(one => one.innerText.trim() === press).click();
  requestAnimationFrame(look);
}})"""
# From leaving a field with another text until nothing is computed any more; a run that has not begun is waited for.
_SETTLED = """() => new Promise(tell => {
  const state = () => document.querySelector('[data-testid=stApp]').dataset.testScriptState;
  const begun = performance.now();
  let ran = false;
  const look = () => {
    ran ||= state() !== 'notRunning';
    const taken = performance.now() - begun;
    if ((ran && state() === 'notRunning') || taken > 9999) tell(taken);
    else requestAnimationFrame(look);
  };
  document.activeElement.blur();
  requestAnimationFrame(look);
})"""
# Part: the drawer of a field that is typed into, the field, and what is typed by turns.
_FIELDS = {
    "decide": ("Weights: what counts how much", "greasy film", ("5", "4")),
    "next_prototype": ("", "or type, %", ("1", "2")),
    "plan": ("Order of making", "Prototypes a day", ("5", "6")),
    "servings": ("", "Smallest difference that matters (0 to 100)", ("7", "8")),
}


def opened(page: Page, address: str, part: str) -> None:
    """Open a part and wait until it stands there."""
    page.goto(f"{address}/{address_of(part)}")
    settled(page)


def visits(page: Page, within: str, titles: list[str], times: int) -> dict[str, list[tuple[float, float]]]:
    """Return the milliseconds of every visit to a place or part: until anything is seen, until all is."""
    wanted: dict[str, list[str]] = {}
    for title in titles * 2:  # the first time is not what is measured
        page.locator(within).get_by_text(title, exact=True).click()
        page.wait_for_timeout(300)
        settled(page)
        page.wait_for_timeout(700)
        wanted[title] = page.evaluate(_SEEN)
    taken: dict[str, list[tuple[float, float]]] = {title: [] for title in titles}
    for title in titles * times:
        taken[title].append(page.evaluate(_TIMED, [within, title, wanted[title]]))
        settled(page)
        page.wait_for_timeout(300)
    return taken


def told(name: str, taken: list[tuple[float, float]]) -> str:
    """Return a line: medians until anything is seen and until all is, and the longest."""
    first, all_of_it = (median(one[at] for one in taken) for at in (0, 1))
    return f"| {name} | {first:.0f} | {all_of_it:.0f} | {max(one[1] for one in taken):.0f} |"


def main() -> None:
    """Measure and print."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    print(f"load {os.getloadavg()[0]:.1f} before")
    with running_app() as opening, browser(1280) as context:
        page = context.pages[0]
        address = entered(page, opening)
        settled(page)
        for title, taken in visits(page, _PLACES, [held.title for held in PLACES.values()], times).items():
            print(told(title, taken))
        for held in PLACES.values():
            if len(held.parts) > 1:
                opened(page, address, held.parts[0].name)
                for title, taken in visits(page, _PARTS, [part.title for part in held.parts], times).items():
                    print(told(f"{held.title}, {title}", taken))
        for part, (drawer, label, texts) in _FIELDS.items():
            opened(page, address, part)
            if drawer:
                page.get_by_text(drawer, exact=True).first.click()
                settled(page)
            settle = []
            for turn in range(times + 1):
                page.get_by_label(label, exact=True).locator("visible=true").first.fill(texts[turn % 2])
                settle.append(page.evaluate(_SETTLED))
                page.wait_for_timeout(300)
            print(f"| {PARTS[part][1].title}: {label} | | {median(settle[1:]):.0f} | {max(settle[1:]):.0f} |")
    print(f"load {os.getloadavg()[0]:.1f} after")


if __name__ == "__main__":
    main()
