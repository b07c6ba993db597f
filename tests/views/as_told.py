"""All that is told of the studies of these tests, line by line in the order of the page: see `tests/as_before.py`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from panel.study.shown import Shown
from panel.views.pictures import BROAD, NARROW
from panel.views.told import Item, Picture, Told
from tests.as_before import summed, write_lines

FOLDER = Path(__file__).parent / "as_told"
PLANS, NARROWED = "plans", "demo"
_ENDS = 8  # rows of a long table that are written down, at each end


def lines_told(everything: Iterable[Told], *, narrow: bool = False) -> list[str]:
    """Everything told of a study; with `narrow` pictures are drawn for a phone, too."""
    widths = (BROAD, NARROW) if narrow else (BROAD,)
    return [line.replace("\n", " / ") for told in everything for line in _lines(told, widths)]


def _lines(told: Told, widths: tuple[float, ...]) -> Iterator[str]:
    yield f"# {told.headline}"
    yield from (f"! {each}" for each in told.mind)
    yield from _items([each for each in (told.picture, told.table) if each is not None], told, widths)
    for drawer in told.every_drawer():
        yield f"## {drawer.title}"
        yield from _items(drawer.items, told, widths)


def _items(items: Iterable[Item], told: Told, widths: tuple[float, ...]) -> Iterator[str]:
    for item in items:
        if isinstance(item, str):
            yield item
        elif isinstance(item, Picture):
            yield f"[{item.title}] {item.alt}"
            for width in widths:
                yield from _drawn(item.figure(width))
        else:
            yield from _rows(told.shown(item))


def _drawn(figure: Figure) -> Iterator[str]:
    texts = [text for axes in figure.axes for text in axes.texts]
    framed = [axes for axes in figure.axes if axes.axison]
    ticks = [tick for axes in framed for tick in (*axes.get_yticklabels(), *axes.get_xticklabels())]
    around = [text for axes in figure.axes for text in (axes.title, axes.xaxis.label, axes.yaxis.label)]
    keys = [*figure.legends, *(key for axes in figure.axes if (key := axes.get_legend()))]
    said = [*ticks, *texts, *around, *figure.texts, *(text for key in keys for text in key.get_texts())]
    yield " · ".join(each for text in said if (each := text.get_text()))
    looks = Counter(f"{text.get_weight()} {text.get_ha()} {text.get_va()}" for text in said if text.get_text())
    yield f"letters: {_counted(looks)}"
    lines = [np.ravel(line.get_xydata()) for axes in figure.axes for line in axes.lines]
    groups = [each for axes in figure.axes for each in axes.collections]
    pieces = [np.ravel(path.vertices) for each in groups for path in each.get_paths()]
    pieces += [np.ravel(np.ma.filled(each.get_offsets(), 0.0)) for each in groups]
    boxes = [np.array(patch.get_extents().bounds) for axes in figure.axes for patch in axes.patches]
    inks = [text.get_color() for text in said]
    inks += [line.get_color() for axes in figure.axes for line in axes.lines]
    inks += [line.get_markerfacecolor() for axes in figure.axes for line in axes.lines]
    inks += [patch.get_facecolor() for axes in figure.axes for patch in axes.patches]
    inks += [ink for each in groups for ink in (*each.get_facecolor(), *each.get_edgecolor())]
    yield f"colours: {_counted(Counter(map(to_hex, inks)))}"
    yield summed("marks", np.concatenate([*lines, *pieces, *boxes, np.zeros(0)]))
    yield summed("texts", [text.get_position() for text in (*texts, *figure.texts)])
    yield summed("limits", [(*axes.get_xlim(), *axes.get_ylim()) for axes in figure.axes])
    parts = [(*axes.get_position().bounds, axes.axison, axes.get_xscale() == "log") for axes in figure.axes]
    yield summed("room", [*figure.get_size_inches(), *np.ravel(parts)])


def _counted(things: Counter[str]) -> str:
    return ", ".join(f"{many} {thing}" for thing, many in sorted(things.items()))


def _rows(shown: Shown) -> Iterator[str]:
    texts = shown.texts
    rows = [" | ".join(map(str, row)) for row in texts.itertuples(index=False)]
    yield f"[{shown.title}] {len(rows)} rows"
    yield " | ".join(map(str, texts.columns))
    yield from rows if len(rows) <= 2 * _ENDS else (*rows[:_ENDS], "...", *rows[-_ENDS:])


if __name__ == "__main__":
    from tests.views.held import STUDIES, all_told, planned_told, study_told

    for name, make in STUDIES.items():
        answers = make()
        write_lines(FOLDER, name, lines_told([*all_told(answers), *study_told(answers)], narrow=name == NARROWED))
    write_lines(FOLDER, PLANS, lines_told(planned_told()))
