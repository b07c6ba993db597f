"""Is anybody kept out of any part of the app, in any of its states?

    python -m benchmarks.accessibility [PART ...]

opens every part of the demo (or those named), closed and with all its drawers opened, 1280 and 390 points wide, light
and dark, lets axe-core look at each, and prints what it finds; it fails where that is anything. The tests look at some
of these states in every run.
"""

from __future__ import annotations

import sys
from itertools import product

from playwright.sync_api import Page

from tests.app.running import (
    PAGES,
    address_of,
    at_rest,
    browser,
    entered,
    open_drawers,
    running_app,
    settled,
    violations,
)


def every_state(page: Page, address: str, part: str) -> list[str]:
    """Return what is found in the eight states of a part, each with its state."""
    page.goto(f"{address}/{address_of(part)}")
    settled(page)
    found = []
    for opened in (False, True):
        if opened:
            page.set_viewport_size({"width": 1280, "height": 800})
            open_drawers(page)
        for width, scheme in product((1280, 390), ("light", "dark")):
            page.set_viewport_size({"width": width, "height": 800})
            page.emulate_media(color_scheme=scheme)
            at_rest(page)
            state = f"{part}, {'open' if opened else 'closed'}, {width}, {scheme}"
            found += [f"{state}: {rule}: {node}" for rule, node in violations(page)]
    return found


def main() -> None:
    """Look at the parts, print what is found and how many states were looked at."""
    parts = tuple(sys.argv[1:]) or PAGES
    with running_app() as opening, browser(1280) as context:
        page = context.pages[0]
        address = entered(page, opening)
        found = []
        for part in parts:
            here = every_state(page, address, part)
            print(part, len(here), *dict.fromkeys(here), sep="\n  ", flush=True)
            found += here
    print(f"{len(parts)} parts in 8 states each: {len(found)} violations.")
    sys.exit(bool(found))


if __name__ == "__main__":
    main()
