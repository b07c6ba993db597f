"""Each number in a cell is one of its row: to the decimals shown, with its sign, or in per cent; ends are in order.

The cells are read back, so that none of the functions that wrote them is asked again.
"""

import re
from collections import Counter
from collections.abc import Iterator

import numpy as np
import pytest

from panel.study.shown import Column, Table
from panel.views.told import Shown
from tests.views.every_picture import everything_told
from tests.views.held import NUMBER, STUDIES, holds, numbers_in, told_numbers, words_in

# What a cell shows that no column of its row holds as it is: square roots of variances, and changes from ratios.
_WORKED_OUT = {
    "scatter": lambda row: np.sqrt(np.maximum(row, 0)),
    "reading_swaps": lambda row: row - 1,
}
_WORDS_ONLY = {
    "What it adds", "What it cannot say", "What it says", "Expected", "Measure", "Set by", "At most", "Sentence",
    "Lost", "Together with those before", "8 or 9 (95 % interval)", "7, 8 or 9 (95 % interval)",
}  # fmt: skip


def tables(answers) -> Iterator[Shown]:
    """Every table of a study once."""
    for told in everything_told(answers).values():
        items = [told.table, *(item for each in told.every_drawer() for item in each.items)]
        own = {(each := told.shown(item)).table.name: each for item in items if isinstance(item, Table | Shown)}
        yield from own.values()


@pytest.fixture(scope="module", params=STUDIES)
def every_table(request) -> list[Shown]:
    return list(tables(STUDIES[request.param]()))


def _in_row(table: Shown, column: Column, row: dict, text: str) -> bool:
    for word in (each for each in row.values() if isinstance(each, str) and re.search(r"\d[. ]|\d$", each[1:])):
        text = text.replace(word, "")
    if not column.cells.__qualname__.startswith("each_row"):
        row = {name: row[name] for name in column.needs}  # these say themselves what they are written from
    held = numbers_in(row)
    if table.table.name in _WORKED_OUT:
        held = np.concatenate([held, _WORKED_OUT[table.table.name](held)])
    counted = [float(one) / float(other) for one, other in re.findall(r"(\d+) of ([1-9]\d*)", text)]
    held = np.concatenate([held, counted])
    for sign, limit in re.findall(r"([<>]) (\d[\d.]*)", text):
        low, high = (0, float(limit)) if sign == "<" else (float(limit), 100)
        if not ((held >= low) & (held <= high)).any() and not ((100 * held >= low) & (100 * held <= high)).any():
            return False
    cut = "%" in text or "%" in column.heading
    numbers = told_numbers(re.sub(r"[<>] \d[\d.]*", "", text))
    return all(holds(held, *each, cut=cut) or (not each[1] and holds(held, -each[0], 0)) for each in numbers)


def test_each_number_of_a_cell_stands_in_its_row(every_table):
    tried = Counter()
    for table in every_table:
        if table.table.across is not None:
            continue
        columns, rows = table.table.columns_of(table.result), table.full.to_dict("records")
        assert len(table.texts) == len(rows)
        for column, heading in zip(columns, table.texts.columns, strict=True):
            for row, text in zip(rows, table.texts[heading], strict=True):
                if heading in _WORDS_ONLY or text in words_in(row, table.names) or not NUMBER.search(text):
                    continue
                assert _in_row(table, column, row, text), (table.table.name, heading, text, row)
                tried[table.table.name] += 1
    assert tried.total() > 50


def test_each_cell_of_a_table_that_goes_across_begins_with_a_number_of_its_row(every_table):
    tried = 0
    for table in (each for each in every_table if each.table.across is not None):
        down, across, about = table.table.key[0], table.table.across.across, table.texts
        rows, names = table.full, list(dict.fromkeys(table.full[table.table.across.across]))
        firsts = list(dict.fromkeys(rows[down]))
        assert len(about) == len(firsts)
        cells = about.iloc[:, -len(names) :].set_axis(names, axis=1).set_axis(firsts)
        for row in rows.to_dict("records"):
            text = cells.loc[row[down], row[across]]
            if NUMBER.search(text) and "F(" not in text:
                assert holds(numbers_in(row), *told_numbers(text)[0], cut="%" in text), (table.table.name, text)
                tried += 1
    assert tried > 10


def test_the_ends_of_an_interval_are_in_order_and_hold_the_number_before_them(every_table):
    tried = 0
    for table in every_table:
        for text in table.texts.to_numpy(dtype="object").ravel():
            for before, low, high in re.findall(
                r"(?:([+−]?\d[\d.,]*)(?: %| of \d+)? \()?(?:above |below )?([+−]?\d[\d.,]*) to ([+−]?\d[\d.,]*)",
                str(text),
            ):
                ends = [float(each.replace("−", "-").replace(",", "")) for each in (low, before, high) if each]
                assert ends == sorted(ends), (table.table.name, text)
                tried += 1
    assert tried > 10


def test_words_for_a_truth_are_the_same_for_the_same_truth(every_table):
    for table in every_table:
        if table.table.across is not None:
            continue
        columns, rows = table.table.columns_of(table.result), table.full
        for column, heading in zip(columns, table.texts.columns, strict=True):
            own = [name for name in column.needs if name in rows and len(column.needs) == 1]
            for name in own:
                if rows[name].dtype == bool and set(table.texts[heading]) <= {"yes", "no"}:
                    assert list(table.texts[heading]) == ["yes" if each else "no" for each in rows[name]], heading
            told = " ".join(table.texts[heading])
            assert not re.search(r"\b(nan|None|NaT|inf)\b|[{}]", told), (table.table.name, heading)
