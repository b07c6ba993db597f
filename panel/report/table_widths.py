"""How wide is each column of a printed table, and which columns have to go into a second table?"""

from __future__ import annotations

from collections.abc import Sequence

from panel.report.pages import Sheet

ID_SIZE = 5.5  # points, letters of the id under the first cell of a row
PADDING = 6.0  # points, left and right of a cell together
LETTER = 0.62  # of the size of the letters: mean width of a sign of DejaVu Sans in the tables of the demo
BOLD = 0.72  # the same for its bold face, in which headings are set
_WHOLE = 14  # letters; a cell so short, such as `< 0.001` or an interval, is kept on one line where there is room
_LONG, _COMFORT = 40, 26  # letters; a column with cells so long gets room for so many where it can
_WIDEST_WORD = 300.0  # points; longer words are broken
_LONGEST_LINE = 60  # letters that count when room is shared out


def fitting(sheet: Sheet, width: float, size: float) -> list[tuple[Sheet, list[float]]]:
    """Return the table in as many parts as it needs side by side, each with the widths of its columns in points.

    The first column stands in every part, so that each can be read alone.

    Parameters
    ----------
    width
        Room across the page, in points.
    size
        Size of the letters, in points.
    """
    needed = _needs(sheet, width, size)
    groups = _groups(needed, width)
    # once more with less room, so that the last part is not left with a column or two
    even = (sum(needed) + (len(groups) - 1) * needed[0]) / len(groups) + max(needed)
    groups = min((_groups(needed, min(even, width)), groups), key=len)
    return [(_part(sheet, group), _widths(sheet, group, needed, width, size)) for group in groups]


def best_size(sheet: Sheet, width: float, sizes: Sequence[float]) -> float:
    """Return the largest of the sizes at which the table fits: at ease, else word by word; the largest if at none."""
    for whole in (_WHOLE, 0):
        for size in sizes:
            if sum(_needed(sheet, column, size, whole) for column in range(len(sheet.headings))) <= width:
                return size
    return sizes[0]


def _groups(needed: Sequence[float], width: float) -> list[list[int]]:
    """Return which columns stand side by side, the first one always among them."""
    groups: list[list[int]] = [[0]]
    for column in range(1, len(needed)):
        taken = sum(needed[own] for own in groups[-1])
        if taken + needed[column] > width and len(groups[-1]) > 1:
            groups.append([0])
        groups[-1].append(column)
    return groups


def _needs(sheet: Sheet, width: float, size: float) -> list[float]:
    """Return the least room of each column: with short cells whole if that fits, else word by word."""
    columns = range(len(sheet.headings))
    whole = [_needed(sheet, column, size, _WHOLE) for column in columns]
    return whole if sum(whole) <= width else [_needed(sheet, column, size, 0) for column in columns]


def _needed(sheet: Sheet, column: int, size: float, whole: int) -> float:
    """Return the room for the longest word of a column, or the longest cell of no more letters than `whole`."""
    cells = [row[column] for row in sheet.rows]
    longest = max((len(piece) for cell in cells for piece in _pieces(cell, whole)), default=1)
    if whole and max(map(len, cells), default=0) > _LONG:
        longest = max(longest, _COMFORT)
    if whole and column == 0:
        names = min(max(map(len, sheet.ids), default=0), _COMFORT)
        longest = max(longest, round(names * ID_SIZE / size))
    heading = max((len(word) for word in sheet.headings[column].split(" ")), default=1)
    return min(max(longest * LETTER, heading * BOLD) * size, _WIDEST_WORD) + PADDING


def _pieces(cell: str, whole: int) -> list[str]:
    return [cell] if len(cell) <= whole else cell.split(" ")


def _widths(sheet: Sheet, group: list[int], needed: list[float], width: float, size: float) -> list[float]:
    """Return widths that hold every word; what is left over goes where most is written."""
    least = [needed[column] for column in group]
    if sum(least) > width:
        return [one * width / sum(least) for one in least]
    wanted = [max(_wanted(sheet, column, size) - low, 0.0) for column, low in zip(group, least, strict=True)]
    spare, total = width - sum(least), sum(wanted)
    if total <= spare:
        return [low + more for low, more in zip(least, wanted, strict=True)]
    return [low + spare * more / total for low, more in zip(least, wanted, strict=True)]


def _wanted(sheet: Sheet, column: int, size: float) -> float:
    longest = max((len(row[column]) for row in sheet.rows), default=0)
    longest = max(longest, len(sheet.headings[column]) // 2)
    if column == 0:
        longest = max(longest, max((len(text) for text in sheet.ids), default=0) * 4 // 5)
    return min(longest, _LONGEST_LINE) * LETTER * size + PADDING


def _part(sheet: Sheet, group: list[int]) -> Sheet:
    headings = tuple(sheet.headings[column] for column in group)
    rows = tuple(tuple(row[column] for column in group) for row in sheet.rows)
    return Sheet(sheet.title, headings, rows, sheet.ids, sheet.note)
