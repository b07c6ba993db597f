"""What may be said, as a board: claims from supported to not, each with one reason; the evidence behind each folded."""

from __future__ import annotations

import re
from functools import partial
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel.claims.verdict import AGAINST_IT, AS_WORDED, CANNOT_TELL, CONTRARY, NOT_SUPPORTED
from panel.study.naming import Naming
from panel.study.shown import Table, each_row
from panel.views.decision import claims
from panel.views.pictures import BROAD, FAINT, INK, LETTERS, sheet, wrapped
from panel.views.told import Drawer, Item, Picture, Told, drawer
from panel.words import capital

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from panel.claims.judge import Claims

_LINE, _EDGE, _LEFT, _STACKED_BELOW = 0.17, 0.12, 2.1, 6.0  # inches
_LETTERS = 92  # of a line of the board
_SHADES = {"held": "#d9ebe2", "contrary": "#f6ecd2", "not": "#f3e3de", "open": "#eceef0"}


def _first_reason(result: Claims, number: int) -> str:
    """Return the one reason that stands beside a verdict: what speaks against it, else the first; else what lacks."""
    verdict = claims.claim_of(result, number)["verdict"]
    reasons, needs = claims.reasons_of(result, number), claims.needs_of(result, number)
    if verdict != CONTRARY:
        reasons = [words for words in reasons if not words.startswith(AGAINST_IT)]
    lacking = verdict == CANNOT_TELL and not (result.numbers["number"] == number).any()
    told = needs if lacking and needs else reasons
    return capital(told[0]) if told else ""


def _brief(reason: str) -> str:
    """Return a reason short enough for a line of the board: up to its first bracket or semicolon where it is long."""
    first = re.split(r" \(|; ", reason)[0] if len(reason) > _LETTERS else reason
    return shorten(first, _LETTERS, placeholder=" ...")


def _ordered(result: Claims) -> pd.DataFrame:
    rows = result.in_order
    return rows.assign(reason=[_first_reason(result, int(number)) for number in rows["number"]])


_BOARD = Table(
    name="claims",
    title="What may be said, from supported to not",
    rows=_ordered,
    columns=(
        each_row("Verdict", lambda row, _: claims.verdict_words(str(row["verdict"])), "verdict"),
        each_row("Sentence", lambda row, _: f"“{row['claim']}”", "claim"),
        each_row("Because", lambda row, _: _brief(str(row["reason"])), "reason"),
    ),
)
_CLAIMS_TABLE = Table(
    name="claims_in_full", title="Every claim with the number that decides", rows=_ordered, columns=claims.CLAIM_COLUMNS
)


def tell_claims(result: Claims, names: Naming, warning: str = "") -> Told:
    """Return what is told of the claims of a study.

    `warning` marks data that are no evidence, such as invented ones.
    """
    there = bool(len(result.claims))
    each = (_one(result, int(number)) for number in _ordered(result)["number"]) if there else ()
    return Told(
        result,
        names,
        claims.claims_headline(result),
        _board_picture(result) if there else None,
        mind=tuple(line for line in (f"{warning}." if warning else "", claims.local_law()) if line),
        table=_BOARD if there else None,
        drawers=(*each, drawer("As a table", _CLAIMS_TABLE)) if there else (),
        cannot=claims.what_claims_cannot_show()[1:],
    )


def _one(result: Claims, number: int) -> Drawer:
    """Return everything about one claim: for and against, numbers, what it would take, words, footnote, stamp."""
    row = claims.claim_of(result, number)
    items: list[Item] = [f"What may be said: {claims.ended(row['suggestion'])}"] if row["suggestion"] else []
    items += claims.reasons_of(result, number)
    against, numbers, findings = (table if len(table.of(result)) else None for table in claims.claim_tables(number))
    items += [against] if against else []
    items += [f"It would take: {need}" for need in claims.needs_of(result, number)]
    items += [table for table in (numbers, findings) if table]
    items += [f"Footnote: {line}" for line in claims.footnote_lines(result, number)]
    items += [claims.criteria_words(result, number), *_wanted_words(result, number)]
    return Drawer(f"{claims.verdict_words(str(row['verdict']))}: “{row['claim']}”", tuple(items))


def _wanted_words(result: Claims, number: int) -> list[str]:
    """Return who wants to make the claim, and where; when it was stamped stands among the reasons."""
    row = claims.claim_of(result, number)
    where = "; ".join(str(row[name]) for name in ("media", "territory") if row[name])
    told = [f"{head}: {words}." for head, words in (("Wanted by", row["owner"]), ("To be used in", where)) if words]
    return [" ".join(told)] if told else []


def _board_picture(result: Claims) -> Picture:
    rows = _ordered(result)
    heard = "; ".join(f"{row['verdict']}: “{row['claim']}”" for row in rows.to_dict("records"))
    return Picture("claims_board", "What may be said, from supported to not", f"{heard}.", partial(_board_figure, rows))


def _board_figure(rows: pd.DataFrame, width: float = BROAD) -> Figure:
    """Return the board: each claim with its verdict, sentence and one reason, one under the other where narrow."""
    from matplotlib.patches import Rectangle

    beside = width > _STACKED_BELOW
    left = _LEFT if beside else _EDGE
    room = (width - left - _EDGE) * 72
    told = []
    for row in rows.to_dict("records"):
        said = wrapped(claims.verdict_words(str(row["verdict"])), LETTERS, (_LEFT - 2 * _EDGE) * 72 if beside else room)
        sentence = wrapped(f"“{row['claim']}”", LETTERS + 1, room / 1.14)
        told.append((str(row["verdict"]), said, sentence, wrapped(_brief(str(row["reason"])), LETTERS - 0.5, room)))
    count = [max(len(v), len(s) + len(r)) if beside else len(v) + len(s) + len(r) for _, v, s, r in told]
    tall = [_LINE * lines + 0.14 for lines in count]
    figure, axes = sheet(width, sum(tall) + 0.1)
    axes.set_ylim(sum(tall) + 0.05, -0.05)
    look: dict[str, Any] = {"color": INK, "va": "top", "linespacing": 1.15}
    y = 0.0
    for (verdict, first, sentence, reason), depth in zip(told, tall, strict=True):
        place = (0.05, y + 0.02), width - 0.1, depth - 0.04
        axes.add_patch(Rectangle(*place, facecolor=_SHADES[_shade(verdict)], edgecolor=FAINT))
        axes.text(_EDGE, y + 0.07, "\n".join(first), fontsize=LETTERS, **look)
        down = y + 0.07 + (0.0 if beside else _LINE * len(first))
        axes.text(left, down, "\n".join(sentence), fontsize=LETTERS + 1, weight="bold", **look)
        axes.text(left, down + _LINE * len(sentence) + 0.01, "\n".join(reason), fontsize=LETTERS - 0.5, **look)
        y += depth
    return figure


def _shade(verdict: str) -> str:
    if verdict == CONTRARY:
        return "contrary"
    return "held" if verdict in AS_WORDED else "not" if verdict == NOT_SUPPORTED else "open"
