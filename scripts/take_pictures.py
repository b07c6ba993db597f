#!/usr/bin/env python
"""Take a picture of every page of the app on the demo study: `scripts/take_pictures.py [FOLDER] [WIDTH] [--whole]`.

Without arguments the pictures of the README are made, 1280 pixels wide.
"""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from PIL import Image  # noqa: E402  # the checkout has to be on the path first

from tests.app.running import PAGES, address_of, browser, entered, running_app, settled  # noqa: E402  # the same

FOLDER = ROOT / "data_demo" / "pictures"
SHOWN = ("at_a_glance", "differences", "assessors", "claims")  # in the README
WIDTH, HEIGHT = 1280, 1400
MOST_BYTES = 200_000  # a picture that is larger gets a palette


def take_pictures(folder: Path, width: int, *, whole: bool) -> None:
    """Write one PNG per page into a folder: the first screen, or the whole page."""
    folder.mkdir(parents=True, exist_ok=True)
    with running_app() as opening, browser(width, HEIGHT) as context:
        page = context.pages[0]
        address = entered(page, opening)
        for name in PAGES if folder != FOLDER else SHOWN:
            page.goto(f"{address}/{address_of(name)}")
            settled(page)
            page.wait_for_timeout(700)  # charts fade in
            if whole:
                tall = page.evaluate("document.querySelector('[data-testid=stMainBlockContainer]').scrollHeight")
                page.set_viewport_size({"width": width, "height": int(tall) + 80})
                page.wait_for_timeout(500)
            (folder / f"{name}.png").write_bytes(_saved(page.screenshot()))
            page.set_viewport_size({"width": width, "height": HEIGHT})


def _saved(png: bytes) -> bytes:
    """Return the picture as PNG of an agreeable size."""
    picture = Image.open(BytesIO(png)).convert("RGB")
    for smaller in (picture, picture.quantize(256, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)):
        file = BytesIO()
        smaller.save(file, "PNG", optimize=True)
        if file.tell() <= MOST_BYTES:
            break
    return file.getvalue()


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--whole"]
    take_pictures(
        Path(words[0]) if words else FOLDER,
        int(words[1]) if len(words) > 1 else WIDTH,
        whole="--whole" in sys.argv,
    )
