"""What may be said of each claim, in plain sentences, and what such a verdict cannot tell."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.checks.moments_recorded import NOT_SHOWN, NOT_STAMPED, STAMPED
from panel.claims.verdict import (
    AGAINST_IT,
    AS_WORDED,
    CANNOT_TELL,
    CONTRARY,
    IN_BATCHES,
    NOT_SUPPORTED,
    NOT_THIS_TOOL,
    SUPPORTED,
    WITH_WORDING,
    WITHDRAWN,
)
from panel.study.knowledge import shared_table
from panel.study.naming import Naming
from panel.study.shown import Table, count, each_row, interval, number, p_value, text
from panel.views.pictures import BROAD, FAINT, GREY, INK, LETTERS, line_by_line, needed_limits, sheet, wrapped
from panel.views.told import Drawer, Item, Picture, Told, drawer
from panel.words import DOWN, NOTHING, UP, capital, counted, format_list, format_number, format_share

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from panel.claims.judge import Claims

_SIGNS = {
    SUPPORTED: "✓",
    IN_BATCHES: "✓",
    CONTRARY: "±",
    WITH_WORDING: "≠",
    NOT_SUPPORTED: "✗",
    CANNOT_TELL: "?",
    NOT_THIS_TOOL: "–",
    WITHDRAWN: "×",
}


def claims_headline(result: Claims) -> str:
    """Return one sentence: how many claims hold, and in how many families they were adjusted together.

    What is supported for these batches alone, or with contrary evidence, holds with limits.
    """
    total = len(result.claims)
    if not total:
        return "No claim has been written down yet."
    supported = int(result.claims["verdict"].isin(AS_WORDED).sum())
    limited = supported - int((result.claims["verdict"] == SUPPORTED).sum())
    limits = f", {'' if limited == supported else f'{limited} of them '}with limits" if limited else ""
    tested = result.claims["p_adjusted"].notna() & ~result.claims["exploratory"].astype(bool)
    families = result.claims.loc[tested, "family"].nunique()
    among = f"; adjusted together in {counted(families, 'family', 'families')}" if families else ""
    late = not_beforehand(result.claims)
    if total == 1:
        explored = f"; it was {late.iloc[0]}" if late.iloc[0] else ""
        if result.claims["verdict"].iloc[0] == CANNOT_TELL:
            return f"Whether the sentence holds cannot be told yet{explored}."
        return f"The sentence {'holds' if supported else 'does not hold'}{limits}{explored}."
    counts = late[late != ""].value_counts(sort=False).items()
    more = "".join(f"; {count} {'was' if count == 1 else 'were'} {words}" for words, count in counts)
    hold = "holds" if supported == 1 else "hold"
    return f"{supported or 'None'} of {total} sentences {hold}{limits}{among}{more}."


def not_beforehand(claims: pd.DataFrame) -> pd.Series:
    """Return how each claim stands to its data; empty if it came first, as one that is stamped and has none yet."""
    before_any = claims["estimate"].isna() & (claims["stamped_at"] != "")
    return claims["stamped"].mask(before_any | (claims["stamped"] == STAMPED), "")


def verdict_words(verdict: str) -> str:
    """Return a verdict with a sign before it, so that it can be told without colour."""
    return f"{_SIGNS[verdict]} {verdict}"


def kind_words(kind: str) -> str:
    """Return a kind of claim in words; the kind itself where it is not known."""
    kinds = shared_table("claim_kinds")
    found = kinds.loc[kinds["kind"] == kind, "words"]
    return str(found.iloc[0]) if len(found) else kind


def ended(words: str) -> str:
    """Return a wording with a full stop after it."""
    return words if words.endswith((".", ".”")) else f"{words}."


def claim_of(result: Claims, number: int) -> pd.Series:
    """Return the row of one claim."""
    return result.claims.loc[result.claims["number"] == number].iloc[0]


def reasons_of(result: Claims, number: int) -> list[str]:
    """Return the reasons of one verdict."""
    return [str(words) for words in result.reasons.loc[result.reasons["number"] == number, "reason"]]


def needs_of(result: Claims, number: int) -> list[str]:
    """Return what it would take to support one claim."""
    return [str(words) for words in result.needs.loc[result.needs["number"] == number, "need"]]


def wording_lines(result: Claims, number: int) -> list[str]:
    """Return what was found in the words of one claim, each with advice."""
    rows = result.findings.loc[result.findings["number"] == number].to_dict("records")
    return [f"{row['message']} {row['advice']} ({row['criterion']}; {row['source']})" for row in rows]


def criteria_words(result: Claims, number: int) -> str:
    """Return which common criteria the verdict on one claim touches, and where its rules come from."""
    row = claim_of(result, number)
    return f"Common criteria touched: {row['criteria']}. Rules from: {row['criteria_sources']}."


def footnote_lines(result: Claims, number: int) -> list[str]:
    """Return the footnote of one claim and what it lacks; nothing where nothing was tested."""
    gaps = result.gaps.loc[result.gaps["number"] == number, "gap"]
    return [str(words) for words in (claim_of(result, number)["footnote"], *gaps) if words]


def local_law() -> str:
    """Return the caution that belongs beside every verdict."""
    known = shared_table("cautions")
    return str(known.loc[known["caution"] == "local_law", "words"].iloc[0])


def what_claims_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from a verdict."""
    return (
        local_law(),
        "A verdict is about this sentence, this formula and batch, these people, this dose and this time. Another "
        "wording is another claim.",
        "What people perceive never shows what happens in the skin.",
        "Nobody signs here: a claim reviewer reads the evidence and signs.",
    )


_FOR_AND_AGAINST = "For and against: what else in the study bears on the word"
_UNITS = {"%": " %", "s": " s"}
_SEVERITY_WORDS = {"stop": "not a matter for this tool", "change": "change the wording", "note": "good to know"}


CLAIM_COLUMNS = (
    each_row("Verdict", lambda row, _: verdict_words(str(row["verdict"])), "verdict"),
    text("Sentence", "claim"),
    each_row("Kind", lambda row, _: kind_words(str(row["kind"])), "kind"),
    each_row("Estimate", lambda row, about: value_words(row, about.names), "estimate", figure=True),
    each_row("Interval, of it alone", lambda row, about: interval_words(row, about.names), "ci_low", figure=True),
)
CLAIMS_TABLE = Table(
    "claims_all",
    "Every claim with the number that decides",
    "in_order",
    (
        *CLAIM_COLUMNS,
        p_value("p after Holm", "p_adjusted"),
        each_row("People", lambda row, _: str(row["n"]) if row["n"] else NOTHING, "n", figure=True),
        text("Stamped beforehand", "stamped", {STAMPED: "yes", NOT_STAMPED: "no", NOT_SHOWN: "not shown"}),
    ),
)
_NUMBER_COLUMNS = (
    each_row(
        "Number", lambda row, _: f"{row['what']} ({row['method']})" if row["method"] else str(row["what"]), "what"
    ),
    each_row("Estimate", lambda row, about: value_words(row, about.names), "estimate", figure=True),
    each_row("Interval", lambda row, about: interval_words(row, about.names), "ci_low", figure=True),
    each_row("Level", lambda row, _: f"{format_number(100 * row['ci_level'], 0)} %", "ci_level", figure=True),
    each_row("Has to lie", lambda row, about: limit_words(row, about.names), "limit_low", figure=True),
)
CLAIM_NUMBERS = Table(
    "claim_numbers",
    "Every number that a claim was held against",
    lambda found: found.numbers.merge(found.claims[["number", "claim"]], on="number"),
    (each_row("Claim", lambda row, _: f"{row['number']}. {row['claim']}", "claim"), *_NUMBER_COLUMNS),
)


def claim_tables(number: int) -> tuple[Table, Table, Table]:
    """Return the tables of one claim: what else bears on its words, the numbers behind it, what was found in it."""

    def own(name: str) -> Callable[[Claims], pd.DataFrame]:
        return lambda found: getattr(found, name).loc[lambda rows: rows["number"] == number].reset_index(drop=True)

    bearing = (text("Side", "side"), text("Source", "source"), text("What", "what"))
    found = (
        text("How grave", "severity", _SEVERITY_WORDS),
        *(text("What", "message"), text("What to do", "advice")),
        *(text("Criterion", "criterion"), text("Source", "source")),
    )
    about = f"claim_{number}"
    return (
        Table(f"{about}_for_and_against", _FOR_AND_AGAINST, own("bearing"), bearing),
        Table(f"{about}_numbers", "Numbers behind the claim", own("numbers"), _NUMBER_COLUMNS),
        Table(f"{about}_words", "The words", own("findings"), found),
    )


def _written(value: float, row: Mapping[Any, Any], names: Naming) -> str:
    """Return a number of a claim; on the panel's scale with the decimals it has on every page."""
    return format_number(value, names.digits_of(str(row.get("attribute", ""))) if row["unit"] == "scale" else 1)


def _unit(row: Mapping[Any, Any], names: Naming) -> str:
    return names.unit(str(row.get("attribute", ""))) if row["unit"] == "scale" else _UNITS.get(str(row["unit"]), "")


def value_words(row: Mapping[Any, Any], names: Naming) -> str:
    """Return an estimate with its unit; counted shares are cut, never rounded up."""
    if row["unit"] == "%":
        return format_share(row["estimate"] / 100, 1, DOWN)
    text = _written(row["estimate"], row, names)
    return text if text == NOTHING else f"{text}{_unit(row, names)}"


def interval_words(row: Mapping[Any, Any], names: Naming) -> str:
    """Return an interval with its unit; an open end is said to be open."""
    low, high, unit = row["ci_low"], row["ci_high"], _unit(row, names)
    if math.isnan(low) or math.isnan(high):
        return NOTHING
    if math.isinf(low) and math.isinf(high):
        return "open at both ends"
    shares = row["unit"] == "%"  # their lower ends are never rounded up, their upper ends never down
    both = ((low, DOWN), (high, UP))
    ends = [format_number(end, 1, way) if shares else _written(end, row, names) for end, way in both]
    if math.isinf(low):
        return f"up to {ends[1]}{unit}"
    return f"from {ends[0]}{unit}" if math.isinf(high) else f"{ends[0]} to {ends[1]}{unit}"


def limit_words(row: Mapping[Any, Any], names: Naming) -> str:
    """Return the limit or limits a number is held against."""
    low, high, unit = row["limit_low"], row["limit_high"], _unit(row, names)
    if math.isnan(low) and math.isnan(high):
        return NOTHING
    if math.isnan(low):
        return f"below {_written(high, row, names)}{unit}"
    if math.isnan(high):
        return f"above {_written(low, row, names)}{unit}"
    return f"between {_written(low, row, names)} and {_written(high, row, names)}{unit}"


_LINE = 0.3  # inches for one number
_UNIT_TITLES = {"scale": "On the scale of the panel", "%": "Per cent of people", "s": "Seconds"}


def _claim_rows(result: Claims, number: int, unit: str, names: Naming) -> pd.DataFrame:
    """Return what the picture draws: the numbers in one unit, with `label remark filled`.

    Filled where the interval keeps to its side of every limit.
    """
    own = result.numbers.loc[(result.numbers["number"] == number) & (result.numbers["unit"] == unit)]
    rows = own.reset_index(drop=True)
    low, high = rows["limit_low"].to_numpy(float), rows["limit_high"].to_numpy(float)
    ends = rows["ci_low"].to_numpy(float), rows["ci_high"].to_numpy(float)
    within = (np.isnan(low) | (ends[0] > low)) & (np.isnan(high) | (ends[1] < high))
    remarks = [f"{interval_words(row, names)}; to lie {limit_words(row, names)}" for row in rows.to_dict("records")]
    labels = [f"{row['what']}{', ' + row['method'] if row['method'] else ''}" for row in rows.to_dict("records")]
    return rows.assign(label=labels, remark=remarks, filled=within)


def _claim_figure(result: Claims, number: int, unit: str, names: Naming, width: float = BROAD) -> Figure:
    """Return a line for each number: filled where its interval keeps to its side of the limit, hollow where not."""
    rows = _claim_rows(result, number, unit, names)
    held_against = rows[["limit_low", "limit_high"]].to_numpy(float)
    limits = needed_limits(_finite(rows), *held_against[~np.isnan(held_against)])
    figure, axes = line_by_line(
        rows.assign(
            ci_low=rows["ci_low"].clip(lower=limits[0]),
            ci_high=rows["ci_high"].clip(upper=limits[1]),
            colour=np.where(rows["filled"], INK, GREY),
        ),
        _LINE,
        rows["label"],
        remarks=rows["remark"],
        free=0.25,
        width=width,
        limits=limits,
        title=_title(result, number),
        x_title=f"{_UNIT_TITLES.get(unit, unit)}; upright lines: what the interval is held against",
    )
    for y, ends in zip(axes.get_yticks(), held_against, strict=True):
        for end in np.unique(ends[~np.isnan(ends)]):
            axes.plot(
                [end, end], [y - _LINE / 2, y + _LINE / 2], color=INK, linewidth=1.2, linestyle=(0, (4, 2)), zorder=1
            )
    return figure


def claim_pictures(result: Claims, number: int, names: Naming) -> list[Picture]:
    """Return the pictures of the numbers of one claim, one for each unit."""
    units = map(str, dict.fromkeys(result.numbers.loc[result.numbers["number"] == number, "unit"]))
    pictures = []
    for place, unit in enumerate(units, start=1):
        rows = _claim_rows(result, number, unit, names).to_dict("records")
        heard = "; ".join(f"{row['label']} {value_words(row, names)} ({row['remark']})" for row in rows)
        draw = partial(_claim_figure, result, number, unit, names)
        name, alt = f"claim_{number}_{place}", f"Numbers behind the claim: {heard}."
        pictures.append(Picture(name, _title(result, number), alt, draw))
    return pictures


def _title(result: Claims, number: int) -> str:
    row = claim_of(result, number)
    return f"“{row['claim']}”: {row['verdict']}"


def _finite(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with open ends taken as the estimate, so that they set no limits."""
    ends = {name: rows[name].where(np.isfinite(rows[name]), rows["estimate"]) for name in ("ci_low", "ci_high")}
    return rows.assign(**ends)


def gap_lines(gaps: Iterable[tuple[str, str, str]], parts: int) -> list[str]:
    """Return in one sentence how much is missing in so many parts, then a line per gap.

    A gap is the number of its part, the heading of that, and what is missing.
    """
    lines = [f"Part {number}, {heading}: {gap}" if number else f"{heading}: {gap}" for number, heading, gap in gaps]
    whole = f"The evidence file has a summary and {counted(parts, 'part')}"
    if not lines:
        return [f"{whole}. No gap is named in it, which is no review."]
    return [f"{whole}; {counted(len(lines), 'gap')} {'is' if len(lines) == 1 else 'are'} named in it.", *lines]


def trace_lines(number_id: str, value: float, table: str, column: str, method: str) -> list[str]:
    """Return the number with its id, unrounded, then where it stands and how it was computed."""
    told = NOTHING if value != value else repr(float(value))
    stands = [f"It stands in the table: {table}.", f"Column: {column}.", f"How it was computed: {method}"]
    return [f"{number_id} = {told}", *stands]


def what_is_behind(rows: pd.DataFrame) -> str:
    """Return how many rows of the study a number rests on, and in which way."""
    if rows.empty:
        return "No single row of a table stands behind it here."
    counts = rows["use"].value_counts(sort=False)
    ways = [f"{count} {use}" for use, count in counts.items()]
    return f"Behind it stand {counted(len(rows), 'row')} of {rows['file'].iloc[0]}: {format_list(ways)}."


# Tables that only the evidence file shows: files, what was asked, records.


FILES = Table(
    "files",
    "Files of the study, as they are saved and archived",
    lambda files: pd.DataFrame(
        [(name, len(data), hashlib.sha256(data).hexdigest()) for name, data in files.items()],
        columns=["file", "size", "digest"],
    ),
    (text("File", "file"), count("Bytes", "size"), text("SHA-256", "digest")),
)
"""Files, path to content."""
_ASKED = ("question", "kind", "words", "low_end", "high_end", "foil")
QUESTIONS = Table(
    "questions",
    "What consumers were asked",
    lambda asked: pd.DataFrame([{name: entry.get(name) for name in _ASKED} for entry in asked], columns=list(_ASKED)),
    (
        *(text("Question", "question"), text("Kind", "kind"), text("Words shown", "words")),
        *(text("Low end", "low_end"), text("High end", "high_end")),
        each_row("Untrue on purpose", lambda row, _: "yes" if row["foil"] else NOTHING, "foil"),
    ),
)
"""The questions of a study, in the words that were seen."""
BALLOT = Table(
    "ballot",
    "What the trained panel judged",
    lambda study: study.table("attributes"),
    (
        each_row("Attribute", lambda row, _: row["name"] or row["attribute"], "name"),
        *(text("Stage", "stage"), number("Minutes", "minutes", 0), text("What is judged", "definition")),
        *(text("How", "procedure"), text("Low end", "low_end"), text("High end", "high_end")),
        interval("scale_min", "scale_max", 0, "Scale"),
    ),
)


def recorded_table(rows: pd.DataFrame, headings: Mapping[str, str]) -> pd.DataFrame:
    """Return the rows of a record as they stand, under headings in words; what is empty shows as a dash."""

    def cell(value: object) -> str:
        if isinstance(value, float):
            return NOTHING if value != value else f"{value:g}"
        return str(value) if value not in (None, "") else NOTHING

    return pd.DataFrame({heading: rows[name].map(cell) for name, heading in headings.items()}, dtype="str")


# The board: claims from supported to not, each with one reason; the evidence behind each folded.


_BOARD_LINE, _EDGE, _LEFT, _STACKED_BELOW = 0.17, 0.12, 2.1, 6.0  # inches
_LETTERS = 92  # of a line of the board
_SHADES = {"held": "#d9ebe2", "contrary": "#f6ecd2", "not": "#f3e3de", "open": "#eceef0"}


def _first_reason(result: Claims, number: int) -> str:
    """Return the one reason that stands beside a verdict: what speaks against it, else the first; else what lacks."""
    verdict = claim_of(result, number)["verdict"]
    reasons, needs = reasons_of(result, number), needs_of(result, number)
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
        each_row("Verdict", lambda row, _: verdict_words(str(row["verdict"])), "verdict"),
        each_row("Sentence", lambda row, _: f"“{row['claim']}”", "claim"),
        each_row("Because", lambda row, _: _brief(str(row["reason"])), "reason"),
    ),
)
_CLAIMS_TABLE = Table(
    name="claims_in_full", title="Every claim with the number that decides", rows=_ordered, columns=CLAIM_COLUMNS
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
        claims_headline(result),
        _board_picture(result) if there else None,
        mind=tuple(line for line in (f"{warning}." if warning else "", local_law()) if line),
        table=_BOARD if there else None,
        drawers=(*each, drawer("As a table", _CLAIMS_TABLE)) if there else (),
        cannot=what_claims_cannot_show()[1:],
    )


def _one(result: Claims, number: int) -> Drawer:
    """Return everything about one claim: for and against, numbers, what it would take, words, footnote, stamp."""
    row = claim_of(result, number)
    items: list[Item] = [f"What may be said: {ended(row['suggestion'])}"] if row["suggestion"] else []
    items += reasons_of(result, number)
    against, numbers, findings = (table if len(table.of(result)) else None for table in claim_tables(number))
    items += [against] if against else []
    items += [f"It would take: {need}" for need in needs_of(result, number)]
    items += [table for table in (numbers, findings) if table]
    items += [f"Footnote: {line}" for line in footnote_lines(result, number)]
    items += [criteria_words(result, number), *_wanted_words(result, number)]
    return Drawer(f"{verdict_words(str(row['verdict']))}: “{row['claim']}”", tuple(items))


def _wanted_words(result: Claims, number: int) -> list[str]:
    """Return who wants to make the claim, and where; when it was stamped stands among the reasons."""
    row = claim_of(result, number)
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
        said = wrapped(verdict_words(str(row["verdict"])), LETTERS, (_LEFT - 2 * _EDGE) * 72 if beside else room)
        sentence = wrapped(f"“{row['claim']}”", LETTERS + 1, room / 1.14)
        told.append((str(row["verdict"]), said, sentence, wrapped(_brief(str(row["reason"])), LETTERS - 0.5, room)))
    count = [max(len(v), len(s) + len(r)) if beside else len(v) + len(s) + len(r) for _, v, s, r in told]
    tall = [_BOARD_LINE * lines + 0.14 for lines in count]
    figure, axes = sheet(width, sum(tall) + 0.1)
    axes.set_ylim(sum(tall) + 0.05, -0.05)
    look: dict[str, Any] = {"color": INK, "va": "top", "linespacing": 1.15}
    y = 0.0
    for (verdict, first, sentence, reason), depth in zip(told, tall, strict=True):
        place = (0.05, y + 0.02), width - 0.1, depth - 0.04
        axes.add_patch(Rectangle(*place, facecolor=_SHADES[_shade(verdict)], edgecolor=FAINT))
        axes.text(_EDGE, y + 0.07, "\n".join(first), fontsize=LETTERS, **look)
        down = y + 0.07 + (0.0 if beside else _BOARD_LINE * len(first))
        axes.text(left, down, "\n".join(sentence), fontsize=LETTERS + 1, weight="bold", **look)
        axes.text(left, down + _BOARD_LINE * len(sentence) + 0.01, "\n".join(reason), fontsize=LETTERS - 0.5, **look)
        y += depth
    return figure


def _shade(verdict: str) -> str:
    if verdict == CONTRARY:
        return "contrary"
    return "held" if verdict in AS_WORDED else "not" if verdict == NOT_SUPPORTED else "open"
