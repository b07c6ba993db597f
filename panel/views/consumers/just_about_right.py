"""What people find too little or too much, whether those like it less, and which change could be tested: in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from panel import words
from panel.models.consumers.answers import QuestionFacts
from panel.models.consumers.just_about_right import ALL_SIDES, LEAST_GROUP, LEAST_SHARE, JustAboutRight
from panel.study.naming import Naming
from panel.study.shown import (
    ATTRIBUTE,
    P_HOLM,
    PROTOTYPE,
    QUESTION,
    VERSUS,
    Across,
    Shown,
    Source,
    Table,
    change,
    count,
    deciding,
    each_row,
    number,
    of_share,
    text,
)
from panel.views.pictures import (
    BROAD,
    INK,
    LETTERS,
    POINTS,
    framed,
    key_lines,
    shortened,
    text_width,
    upright_grid,
    write_key,
)
from panel.views.told import Item, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_MOST_CHANGES = 2  # proposed for one case; the table has them all


_LITTLE, _, _MUCH = ALL_SIDES


def _side_words(result: JustAboutRight, question: str, side: str) -> str:
    """Return a side in the words of the question: `too thin` where its low end is `much too thin`."""
    end = result.facts.get(question, QuestionFacts()).side(high=side == _MUCH)
    return end if side in (_LITTLE, _MUCH) and end else side


def _side_of_row(row: Mapping[str, Any], about: Shown) -> str:
    return _side_words(about.result, str(row["question"]), str(row["side"]))


_VERDICT_WORDS = {
    "move": "liked less by those: test a change",
    "perhaps": "perhaps liked less; can be chance",
    "own level": "those may like everything less",
    "no cost seen": "not shown that those like it less",
    "few people": f"fewer than {words.typed_share(LEAST_SHARE)}, not weighed",
    "small group": "group too small, not tested",
}
_TOLD = {"move": 0, "perhaps": 1, "own level": 2, "small group": 3}  # cases that are told one by one, in this order
_SIDE = each_row("Side", _side_of_row, "question", "side")
_ASKED = Source("answers", same={"question": "question", "prototype": "prototype"})

DROPS = Table(
    name="mean_drops",
    title="Too little, too much, and how those like it who say so",
    rows="drops",
    columns=(
        *(PROTOTYPE, QUESTION, _SIDE, of_share("People", "count", "base")),
        number("Liked less by (against just about right)", "estimate"),
        *(deciding(digits=1), P_HOLM, number("Share times drop", "weighted", 2)),
        text("What it says", "verdict", _VERDICT_WORDS),
    ),
    key=("prototype", "question", "side"),
    code="J",
    sources=lambda found: (
        _ASKED,
        Source("answers", same={"prototype": "prototype"}, only={"question": (found.liking,)}),
    ),
    printed=False,
)
_CASES = replace(
    DROPS,
    name="cases",
    title="Where at least a fifth are on one side and those may like it less",
    rows=lambda found: found.drops.loc[found.drops["verdict"].isin(list(_TOLD))],
    code="",
)
_WITHIN = Table(
    name="drops_within",
    title="Drops within consumers, over all prototypes",
    rows="within",
    columns=(
        *(QUESTION, _SIDE, number("Liked less by, within consumers", "estimate"), deciding(digits=1), P_HOLM),
        count("Consumers whose answers differ", "n_consumers"),
    ),
)
_RIGHT_PAIRS = Table(
    name="just_about_right_pairs",
    title="Do the same people answer differently for two prototypes?",
    rows="pairs",
    columns=(
        *(QUESTION, PROTOTYPE, VERSUS, count("People who judged both", "n"), number("Chi-square", "statistic")),
        *(count("Degrees of freedom", "df"), P_HOLM),
    ),
)
_MOVES = Table(
    name="changes_to_test",
    title="Changes of emollients that could be tested",
    rows="moves",
    columns=(
        PROTOTYPE,
        each_row("Found", lambda row, about: f"{row['question']}: {_side_of_row(row, about)}", "question", "side"),
        *(text("Take out", "removed"), text("Put in", "added"), number("% of the formula", "percent", 2)),
        *(ATTRIBUTE, change("Change the panel scored"), deciding(), text("Already made as", "gives")),
    ),
)
_REFUSED = Table(
    name="refused_questions",
    title="Questions that cannot be asked both ways",
    rows="refused",
    columns=(QUESTION, text("Why not", "why")),
)


def _sides_of(question: str) -> Table:
    return Table(
        name="just_about_right_shares",
        title=f"Too little, just about right, too much: {question}",
        rows=lambda found: found.shares.loc[found.shares["question"] == question],
        columns=(PROTOTYPE,),
        key=("prototype",),
        across=Across(
            "side",
            of_share("", "count", "base"),
            lambda side, about: words.capital(_side_words(about.result, question, str(side))),
        ),
    )


def tell_just_about_right(result: JustAboutRight, names: Naming, question: str = "") -> Told:
    """Return what is told of the just-about-right questions; the picture is of one, by default of `first_told`."""
    asked = question or first_told(result)
    changes: tuple[Item, ...] = (_MOVES_CAUTION, *_changes_to_test(result, names), _MOVES) if len(result.moves) else ()
    return Told(
        result,
        names,
        _headline(result),
        _picture(result, asked),
        mind=_mind(result),
        table=_CASES if len(result.drops) and result.liking else _sides_of(asked),
        drawers=(
            drawer("Case by case", *_cases(result), _CASES),
            drawer("Every prototype, question and side", DROPS),
            drawer("Changes of emollients that could be tested", *changes),
            drawer("How many say what", _sides_of(asked)),
            drawer("Over all prototypes", *_over_all_prototypes(result), _WITHIN),
            drawer("Do the prototypes differ on these questions?", *result.untold, _RIGHT_PAIRS),
            drawer("Questions that cannot be asked both ways", *([_REFUSED] if len(result.refused) else [])),
        ),
        cannot=_CANNOT,
    )


def first_told(result: JustAboutRight) -> str:
    """Return the question that the headline speaks of first, else the first one that was asked."""
    moves = result.drops.loc[result.drops["verdict"] == "move"].sort_values("weighted", ascending=False)
    return str((moves if len(moves) else result.shares)["question"].iloc[0])


_MOVES_CAUTION = "Questions to test, not orders: each names a change the panel has tested that goes the wanted way."
_CANNOT = (
    "Those who find it too thick are other people than those who find it right; they may like less for another reason. "
    "Only a prototype made differently shows whether they would like it more.",
    "Just about right is not a strength. How thick a prototype is, the trained panel says.",
    "A change of emollients moves more than one attribute. Look at all of them before making it.",
    f"The line of {words.typed_share(LEAST_SHARE)} and the least group of {LEAST_GROUP} are custom, not a proof.",
)


def _headline(result: JustAboutRight) -> str:
    if result.drops.empty:
        why = f" ({result.refused['why'].iloc[0].rstrip('.')})" if len(result.refused) else ""
        return f"Counted only, without drops: no question here can be asked as too little or too much{why}."
    if not result.liking:
        return "Counted, but not weighed: without a liking question nobody can say whether those who mind like it less."
    moves = result.drops.loc[result.drops["verdict"] == "move"]
    less = _liked_less(result)
    if moves.empty and less:
        return f"{less}; for no prototype alone is that shown."
    if moves.empty:
        left = f"; not weighed: {words.first_few(list(result.refused['question']))}" if len(result.refused) else ""
        return f"Nothing that people find too little or too much is shown to cost liking{left}. It may still do so."
    worst = moves.sort_values("weighted", ascending=False)
    cases = words.format_list([f"{row['prototype']} ({_side(result, row)})" for row in worst.to_dict("records")])
    return f"Worth testing a change: {cases}. Those who say so like it less, which need not be the reason."


def _liked_less(result: JustAboutRight) -> str:
    """Return what consumers are shown to like less than what they find right, over all prototypes; empty if nothing."""
    rows = result.within.loc[(result.within["verdict"] == "shown") & (result.within["estimate"] > 0)]
    found = [
        f"{_side(result, row)} ({words.format_number(row['estimate'])} less)"
        for row in rows.sort_values("estimate", ascending=False, kind="stable").to_dict("records")
    ]
    return f"Over all prototypes consumers like it less where they find {words.first_few(found)}" if found else ""


def _mind(result: JustAboutRight) -> tuple[str, ...]:
    """Return what is liked less over all prototypes, beside a case of its own, and what more than half find.

    The largest shares come first, whatever they cost.
    """
    beside = _liked_less(result) if (result.drops["verdict"] == "move").any() else ""
    rows = result.shares.loc[result.shares["most"] & result.shares["side"].isin((_LITTLE, _MUCH))]
    found = [
        f"{row['prototype']} ({_side(result, row)}, {words.format_share(row['share'], 1)})"
        for row in rows.sort_values("share", ascending=False, kind="stable").to_dict("records")
    ]
    most = f"More than half find too little or too much: {words.first_few(found)}." if found else ""
    return tuple(filter(None, (beside and f"{beside}.", most)))


def _cases(result: JustAboutRight) -> list[str]:
    """Return one line for each case where at least a fifth are on one side and something can be said about it."""
    rows = _CASES.of(result)
    rows = rows.assign(order=rows["verdict"].map(_TOLD), first=-rows["weighted"])
    rows = rows.sort_values(["order", "first"], kind="stable")
    lines = [_drop_sentence(result, row) for row in rows.to_dict("records")]
    if (rows["verdict"] == "perhaps").any():
        lines.append("Where it can be chance, ask again before moving anything.")
    return lines


def _drop_sentence(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    head = f"{row['prototype']}: {_side(result, row)} for {words.counted_share(int(row['count']), int(row['base']))}"
    if row["verdict"] == "few people":
        return f"{head}: fewer than {words.typed_share(LEAST_SHARE)}, no reason to move."
    if row["verdict"] == "small group":
        return (
            f"{head}. One of the groups to compare has fewer than {LEAST_GROUP} people "
            f"({row['n_right']} find it just about right), so whether those like it less is not tested."
        )
    if np.isnan(row["estimate"]):
        return f"{head}. Whether those like it less is not known."
    less = f"{words.format_number(abs(row['estimate']))} {'less' if row['estimate'] >= 0 else 'more'}"
    interval = (
        f"{words.level_words(row['told_level'])} of the drop "
        f"{words.format_interval(row['told_low'], row['told_high'])}, {words.p_after_holm(row['p_adjusted'])}"
    )
    then = {
        "move": f": test it {_other_way(result, row)}",
        "own level": "; they may like everything less, for beside what they give the other prototypes it is not shown",
        "perhaps": "; among so many questions this can be chance",
    }.get(row["verdict"])
    if then is None:
        return f"{head}, but it is not shown that those like it less ({interval}): no reason to move."
    told = f"{head}, and those like it {less} ({interval}){then}."
    if row["split"]:
        told += " As many find the opposite: a move would lose others. Look for groups of consumers first."
    return told


def _over_all_prototypes(result: JustAboutRight) -> list[str]:
    """Return one line per question: how much less either side goes with within consumers, over all prototypes."""
    if not result.liking:
        return []
    return [
        f"{question}: {'; '.join(_within_words(result, row) for row in rows.to_dict('records'))}."
        for question, rows in result.within.groupby("question", sort=False)
    ]


def _changes_to_test(result: JustAboutRight, names: Naming) -> list[str]:
    """Return, as questions, the tested changes of emollients that go the wanted way, two at most for one case."""
    lines = []
    for _, rows in result.moves.groupby(["prototype", "question", "side"], sort=False):
        lines += [_change(result, row, names) for row in rows.head(_MOST_CHANGES).to_dict("records")]
    return lines


def _side(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    return f"{row['question']} {_side_words(result, str(row['question']), str(row['side']))}"


def _other_way(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    """Return towards what a prototype could be moved: the other end of the question."""
    other = _side_words(result, str(row["question"]), _MUCH if row["side"] == _LITTLE else _LITTLE)
    if other in (_LITTLE, _MUCH):
        return "with more of it" if other == _MUCH else "with less of it"
    return f"more towards {other.removeprefix('too ')}"


def _within_words(result: JustAboutRight, row: Mapping[Any, Any]) -> str:
    side = _side_words(result, str(row["question"]), str(row["side"]))
    if row["verdict"] == "few people":
        return f"{side}: too few people changed their answer to say"
    ends = f"{words.level_words(row['told_level'])} {words.format_interval(row['told_low'], row['told_high'])}"
    if row["verdict"] == "not shown":
        return f"{side}: not shown that it is liked less ({ends})"
    told = f"where they find it {side} consumers like it {words.format_number(row['estimate'])} less ({ends})"
    if row["verdict"] == "between prototypes":
        return f"{told}, but not beside what the same prototype is given by others: another difference may be behind it"
    return told if row["verdict"] == "shown" else f"{told}, but among so many questions this can be chance"


def _change(result: JustAboutRight, row: Mapping[Any, Any], names: Naming) -> str:
    attribute = names.attribute(str(row["attribute"]))
    effect = f"{words.format_number(abs(row['estimate']), names.digits)}"
    ends = sorted((abs(row["told_low"]), abs(row["told_high"])))
    side = _side_words(result, str(row["question"]), str(row["side"]))
    told = (
        f"Would {row['prototype']} still be {side} on {row['question']} with "
        f"{words.format_typed(float(row['percent']))} % "
        f"{row['added']} in place of {row['removed']}? In this base the trained panel scored that change "
        f"{effect} {'higher' if row['estimate'] > 0 else 'lower'} on {attribute} "
        f"({words.level_words(row['told_level'])} {words.format_interval(ends[0], ends[1], names.digits)})."
    )
    if row["gives"]:
        told += f" That is {row['gives']}: look at its answers first."
    if row["also"]:
        told += f" In this study {row['also']} changed along with it; which of them it goes with cannot be said."
    return told


_BAR, _BOTTOM, _MARGIN = 0.3, 0.55, 0.12  # inches
_PARTS = (("#9ecae1", "///"), ("#e6e6e6", ""), ("#fdae6b", "..."))  # light enough for dark words on them


def _figure(result: JustAboutRight, question: str, width: float = BROAD) -> Figure:
    """Return the bars of one question; hatching tells the parts apart without colour."""
    from matplotlib.patches import Patch

    rows = result.shares.loc[result.shares["question"] == question]
    prototypes = [str(name) for name in dict.fromkeys(rows["prototype"])]
    labels = [shortened(name, LETTERS, 0.36 * width * POINTS) for name in prototypes]
    left = max(text_width(name, LETTERS) for name in labels) / POINTS + 2 * _MARGIN
    sides = [_side_words(result, question, side) for side in ALL_SIDES]
    depth, top = _BAR * len(prototypes), key_lines(sides, width)[1] + 0.1
    height, wide = top + depth + _BOTTOM, width - left - 2.5 * _MARGIN
    figure, axes = framed(width, height, (left, _BOTTOM, wide, depth))
    least = (text_width("88 %", LETTERS - 1) + 4) / POINTS / wide
    share = rows.pivot_table(index="prototype", columns="side", values="share", sort=False)
    look: dict[str, Any] = {"fontsize": LETTERS - 1, "color": INK, "ha": "center", "va": "center"}
    for place, prototype in enumerate(prototypes):
        start = 0.0
        for side, (colour, hatch) in zip(ALL_SIDES, _PARTS, strict=True):
            value = float(share.loc[[prototype], side].iloc[0])
            axes.barh(place, value, 0.8, start, color=colour, hatch=hatch, edgecolor="white", linewidth=0.5)
            if value >= least:
                box = {"facecolor": colour, "edgecolor": "none", "pad": 1.0}
                axes.text(start + value / 2, place, words.format_share(value), **look, bbox=box)
            start += value
    axes.set(xlim=(0, 1), ylim=(len(prototypes) - 0.4, -0.6))
    axes.set_yticks(range(len(prototypes)), labels, fontsize=LETTERS, color=INK)
    axes.set_xticks([0, LEAST_SHARE, 0.5, 1 - LEAST_SHARE, 1], ["0", "20", "50", "80", "100 %"])
    upright_grid(axes)
    axes.set_xlabel("Share of those who answered", fontsize=LETTERS, color=INK)
    parts = zip(_PARTS, sides, strict=True)
    signs = [Patch(facecolor=fill, hatch=hatch, edgecolor="white", label=said) for (fill, hatch), said in parts]
    write_key(figure, signs)
    return figure


def _picture(result: JustAboutRight, question: str) -> Picture:
    little, right, much = (_side_words(result, question, side) for side in ALL_SIDES)
    alt = f"Shares of {little}, {right} and {much} on {question}, by prototype; the table holds the numbers."
    return Picture("just_about_right", f"Just about right: {question}", alt, partial(_figure, result, question))
