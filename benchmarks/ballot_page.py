"""How soon does a phone show the first ballot page, and how large is it?

Run from the checkout: python -m benchmarks.ballot_page [times, 20]. Headless Chromium, 390 px wide, the demo's ballots,
nothing in the browser's cache; from the request to the first contentful paint, and to the end of loading.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from panel.ballots.serving import served
from panel.study.open_study import open_study
from tests.app.running import browser
from tests.ballots.running import ready_store, tokens_of

DEMO = Path(__file__).resolve().parents[1] / "data_demo" / "reading_room"
_MOMENTS = """() => {
  const paint = performance.getEntriesByName('first-contentful-paint')[0];
  const page = performance.getEntriesByType('navigation')[0];
  return [paint ? paint.startTime : NaN, page.loadEventEnd, page.encodedBodySize];
}"""


def main(times: int) -> None:
    """Print the median and the largest of both moments, and the size of the page."""
    with TemporaryDirectory() as folder:
        store, number = ready_store(Path(folder) / "ballots.sqlite", open_study(DEMO))
        token = tokens_of(store, number)["A01"]
        seen = []
        with served(store) as address:
            for _ in range(times):
                with browser(390, 844) as context:
                    page = context.pages[0]
                    page.goto(f"{address}/b/{token}/1/1")
                    page.wait_for_timeout(300)
                    seen.append(page.evaluate(_MOMENTS))
        store.close()
    painted, loaded, size = zip(*seen, strict=True)
    print(f"first paint {statistics.median(painted):.0f} ms (at most {max(painted):.0f})")
    print(f"loaded {statistics.median(loaded):.0f} ms (at most {max(loaded):.0f}), {size[0]} bytes")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
