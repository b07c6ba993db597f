"""All that is told of the studies of these tests, line by line in the order of the page: see `tests/as_before.py`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from panel.study.shown import Shown
from panel.views.pictures import BROAD
from panel.views.told import Item, Picture, Told
from tests.as_before import summed, write_lines

FOLDER = Path(__file__).parent / "as_told"
_ENDS = 8  # rows of a long table that are written down, at each end


def lines_told(everything: Iterable[Told]) -> list[str]:
    """Everything told of a study."""
    return [line.replace("\n", " / ") for told in everything for line in _lines(told)]


def _lines(told: Told) -> Iterator[str]:
    yield f"# {told.headline}"
    yield from (f"! {each}" for each in told.mind)
    yield from _items([each for each in (told.picture, told.table) if each is not None], told)
    for drawer in told.every_drawer():
        yield f"## {drawer.title}"
        yield from _items(drawer.items, told)


def _items(items: Iterable[Item], told: Told) -> Iterator[str]:
    for item in items:
        if isinstance(item, str):
            yield item
        elif isinstance(item, Picture):
            yield f"[{item.title}] {item.alt}"
            yield from _drawn(item.figure(BROAD))
        else:
            yield from _rows(told.shown(item))


def _drawn(figure: Figure) -> Iterator[str]:
    texts = [text for axes in figure.axes for text in axes.texts]
    ticks = [tick for axes in figure.axes for tick in axes.get_yticklabels()]
    around = [text for axes in figure.axes for text in (axes.title, axes.xaxis.label, axes.yaxis.label)]
    keys = [*figure.legends, *(key for axes in figure.axes if (key := axes.get_legend()))]
    words = [
        text.get_text()
        for text in (*ticks, *texts, *around, *figure.texts, *(text for key in keys for text in key.get_texts()))
    ]
    yield " · ".join(each for each in words if each)
    lines = [np.ravel(line.get_xydata()) for axes in figure.axes for line in axes.lines]
    groups = [each for axes in figure.axes for each in axes.collections if hasattr(each, "get_segments")]
    pieces = [np.ravel(piece) for each in groups for piece in each.get_segments()]
    boxes = [np.array(patch.get_extents().bounds) for axes in figure.axes for patch in axes.patches]
    inks = [text.get_color() for axes in figure.axes for text in axes.texts]
    inks += [line.get_color() for axes in figure.axes for line in axes.lines]
    inks += [line.get_markerfacecolor() for axes in figure.axes for line in axes.lines]
    inks += [patch.get_facecolor() for axes in figure.axes for patch in axes.patches]
    yield "colours: " + ", ".join(f"{many} {ink}" for ink, many in sorted(Counter(map(to_hex, inks)).items()))
    yield summed("marks", np.concatenate([*lines, *pieces, *boxes, np.zeros(0)]))
    yield summed("texts", [text.get_position() for text in texts])
    yield summed("limits", [(*axes.get_xlim(), *axes.get_ylim()) for axes in figure.axes])


def _rows(shown: Shown) -> Iterator[str]:
    texts = shown.texts
    rows = [" | ".join(map(str, row)) for row in texts.itertuples(index=False)]
    yield f"[{shown.title}] {len(rows)} rows"
    yield " | ".join(map(str, texts.columns))
    yield from rows if len(rows) <= 2 * _ENDS else (*rows[:_ENDS], "...", *rows[-_ENDS:])


if __name__ == "__main__":
    from tests.views.held import STUDIES, all_told

    for name, make in STUDIES.items():
        write_lines(FOLDER, name, lines_told(all_told(make())))
