"""How well consumers like the prototypes, in plain sentences made from the numbers, and what that cannot show."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel import words
from panel.models.consumers.liking import CORRECTED, Liking
from panel.models.prototypes.verdict import CANNOT_TELL, EQUIVALENT
from panel.stats.comparing.multiplicity import LEVEL
from panel.study import shown
from panel.study.naming import Naming
from panel.views import pictures
from panel.views.told import Item, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_DIGITS = 2  # of a mean on nine points in a table; one less in a sentence
_POINTS_OF = {"top 2": "8 or 9", "top 3": "7, 8 or 9"}


def _answers(*direct: str) -> Any:
    def of(found: Liking) -> tuple[shown.Source, ...]:
        return (shown.Source("answers", only={"kind": ("liking",), "question": (found.question,)}, direct=direct),)

    return of


def _best_first(found: Liking) -> pd.DataFrame:
    return found.means.sort_values("estimate", ascending=False, kind="stable")


def _top(box: str) -> shown.Column:
    """Describe a column with how many gave one of the highest points."""

    def write(row: Mapping[str, Any], about: shown.Shown) -> str:
        boxes = about.result.boxes
        own = boxes.loc[(boxes["box"] == box) & (boxes["prototype"] == row["prototype"])].iloc[0]
        ends = words.format_shares(own["ci_low"], own["ci_high"])
        return f"{own['count']:d} of {own['base']:d}: {words.format_share(own['share'])} ({ends})"

    return shown.each_row(f"{_POINTS_OF[box]} ({{level}})", write, "prototype", figure=True)


def _verdict(row: Mapping[str, Any], about: shown.Shown) -> str:
    """Return the verdict, with why where the interval alone says more; pairs with the benchmark are told once."""
    if row.get("with_benchmark"):
        return f"see the differences from {about.result.benchmark}"
    if row["verdict"] != CANNOT_TELL:
        return str(row["verdict"])
    alone = row["ci_low"] > 0 or row["ci_high"] < 0  # the interval alone would say that they differ
    return f"cannot be separated: {row['because'].partition('; ')[0]}" if alone else "cannot be separated"


def _lost(row: Mapping[str, Any], about: shown.Shown) -> pd.Series:
    lost: pd.DataFrame = about.result.lost
    return lost.loc[lost["method"] == row["test"]].iloc[0]


def _degrees(row: Mapping[str, Any], _: shown.Shown) -> str:
    df = words.format_number(row["df"], 1 if row["test"] == CORRECTED else 0)
    return df if pd.isna(row["df_error"]) else f"{df}; {words.format_number(row['df_error'])}"


def _people(heading: str, of: str = "") -> shown.Column:
    """Describe a column of consumers with their answers, of those a test uses or those it loses."""

    def write(row: Mapping[str, Any], about: shown.Shown) -> str:
        people, answers = _lost(row, about)[[f"consumers{of}", f"answers{of}"]]
        return f"{people} ({words.counted(answers, 'answer')})" if people or not of else words.NOTHING

    return shown.each_row(heading, write, "test")


_LIKING_MEANS = shown.Table(
    name="liking_means",
    title="Liking: {question}, best liked first",
    rows=_best_first,
    columns=(
        shown.PROTOTYPE_IN_WORDS,
        shown.count("Consumers", "n"),
        shown.number("Mean liking (1 to 9)", "estimate", _DIGITS),
        *(shown.interval(digits=_DIGITS), shown.text("Cannot be separated if they share a letter", "letters")),
        *(_top("top 2"), _top("top 3")),
    ),
    key=("prototype",),
    code="H",
    sources=_answers("prototype"),
)
_LIKING_TESTS = shown.Table(
    name="liking_tests",
    title="Tests that no prototype is liked better",
    rows="tests",
    columns=(
        *(shown.text("Test", "test"), shown.number("Statistic", "statistic", 2)),
        *(shown.each_row("Degrees of freedom", _degrees, "df", "df_error", figure=True), shown.P),
        *(_people("Consumers used"), _people("Lost", "_lost")),
        shown.each_row("Because they", lambda row, about: _lost(row, about)["why"] or words.NOTHING, "test"),
    ),
    key=("test",),
    code="HT",
    sources=_answers(),
)


def _difference(method: str) -> tuple[shown.Column, ...]:
    return (
        *(shown.PROTOTYPE, shown.VERSUS, shown.change("Difference (points)", digits=_DIGITS)),
        *(shown.interval(digits=_DIGITS, heading=f"{{level}}, {method}"), shown.p_value(f"p, {method}", "p_adjusted")),
        shown.each_row(f"In words, {method}", _verdict, "verdict"),
    )


_LIKING_PAIRS = shown.Table(
    name="liking_pairs",
    title="Differences in liking, all pairs, Tukey",
    rows="pairs",
    columns=_difference("Tukey"),
    key=("prototype", "versus"),
    code="HA",
    sources=_answers("prototype", "versus"),
)
_VERSUS = shown.Table(
    name="liking_versus",
    title="Differences in liking from {benchmark}, Dunnett",
    rows="versus",
    columns=_difference("Dunnett"),
    key=("prototype", "versus"),
)
_LIKING_TOP = shown.Table(
    name="liking_top",
    title="Shares at the top of the liking scale",
    rows="boxes",
    columns=(
        shown.PROTOTYPE,
        shown.text("Answers", "box", _POINTS_OF),
        shown.of_share("Of all who tried it", "count", "base"),
    ),
    key=("prototype", "box"),
    code="HB",
    sources=_answers("prototype"),
    printed=False,
)
NUMBERS = (_LIKING_MEANS, _LIKING_TESTS, _LIKING_PAIRS, _LIKING_TOP)
"""Its tables of numbers, in the order of the evidence file."""


def tell_liking(result: Liking, names: Naming) -> Told:
    """Return what is told of liking."""
    order = [_serving(row, result) for row in result.serving.to_dict("records")]
    matters = [
        line for line, found in zip(order, result.serving["matters"], strict=True) if found and not result.untold
    ]
    agree = (result.tests["differs"] == result.differs).all()
    mind = [*result.untold[:1], *_against_benchmark(result, names), *matters[:1], *([] if agree else [_tests(result)])]
    versus: tuple[Item, ...] = (_VERSUS,) if len(result.versus) else (_NO_BENCHMARK,) if not result.benchmark else ()
    return Told(
        result,
        names,
        _headline(result, names),
        Picture("liking", "Mean liking of each prototype", _means_alt(result), partial(_means_figure, result, names)),
        mind=tuple(mind),
        table=_LIKING_MEANS,
        drawers=(
            drawer("Means and the top of the scale", _most_and_least(result), _LIKING_MEANS),
            drawer("How often each point was given", _distribution(result, names)),
            drawer("Differences, pair by pair", *versus, _LIKING_PAIRS),
            drawer(
                "Tests, and what each of them uses", *([_tests(result)] if agree else []), *_uses(result), _LIKING_TESTS
            ),
            drawer("Place in the serving", *(line for line in order if line not in matters[:1])),
            drawer("Consumers with one answer for everything", *_same_everywhere(result)),
        ),
        cannot=_CANNOT,
    )


_NO_BENCHMARK = "No benchmark was tried by these consumers, so there are no differences from one."
_CANNOT = (
    "Liking in one room after minutes is not liking after weeks of use, and not buying.",
    "A mean can hide opposite tastes: look at the distribution and at the groups of consumers.",
    "'Cannot be separated' is not 'liked equally': that needs a margin set beforehand and an interval within it.",
    "Consumers say what they like, not how strong a sensation is, nor why; the trained panel says what is felt.",
    "They stand for people like those who were recruited, and for one batch of each prototype.",
)


def _headline(result: Liking, names: Naming) -> str:
    """Return the answer in one sentence: which is liked best, or that there is no winner."""
    means = _best_first(result)
    best = means.iloc[0]
    name, mean = names.prototype(str(best["prototype"])), words.format_number(best["estimate"])
    if not result.differs:
        return f"The prototypes cannot be separated by liking: no winner. The highest mean is {mean} of 9 ({name})."
    with_best = [
        str(row["prototype"]) for row in means.to_dict("records") if set(row["letters"]) & set(best["letters"])
    ]
    if len(with_best) == 1:
        others = means["prototype"].iloc[1:].tolist()
        than = str(others[0]) if len(others) == 1 else f"each of the other {len(others)} tried"
        return f"{name} is liked best, {mean} of 9 on average, and better than {than}."
    rest = [str(other) for other in means["prototype"] if other not in with_best]
    if not rest:
        return f"Some prototypes are liked better than others, but none can be separated from {name}, the highest."
    return (
        f"There is no single winner: {words.format_list(with_best)} cannot be separated. {words.format_list(rest)} "
        f"{'is' if len(rest) == 1 else 'are'} liked less than {best['prototype']}, the highest ({mean} of 9)."
    )


def _against_benchmark(result: Liking, names: Naming) -> list[str]:
    if result.versus.empty:
        return []
    told = result.versus.loc[~result.versus["verdict"].isin([CANNOT_TELL, EQUIVALENT])]
    alike = [str(name) for name in result.versus.loc[result.versus["verdict"] == EQUIVALENT, "prototype"]]
    parts = []
    for word, rows in (("better", told[told["estimate"] > 0]), ("less", told[told["estimate"] < 0])):
        if len(rows):
            each = [
                f"{row['prototype']} by {words.format_number(abs(row['estimate']))} "
                f"({words.format_interval(*sorted((abs(row['ci_low']), abs(row['ci_high']))))})"
                for row in rows.sort_values("estimate", ascending=False).to_dict("records")
            ]
            parts.append(f"liked {word}: {words.format_list(each)}")
    if alike:
        parts.append(f"within the margin: {words.format_list(alike)}")
    none = "no other prototype can be separated from it"
    return [f"Against {names.prototype(str(result.benchmark))}, {'; '.join(parts) or none}."]


_TEST_WORDS = {
    "Friedman": "Friedman's test of the ranks",
    "Skillings-Mack": "Skillings and Mack's test of the ranks",
}


def _tests(result: Liking) -> str:
    """Return whether the prototypes are all liked the same, and whether the other tests agree."""
    told = "The prototypes are not all liked the same" if result.differs else "No difference in liking is shown"
    told = f"{told} ({words.p_words(result.p_value)} by the mixed model)"
    beside = result.tests.loc[result.tests["test"].isin(list(_TEST_WORDS))]
    said = {
        same: [f"{_TEST_WORDS[row['test']]} ({words.p_words(row['p_value'])})" for row in rows.to_dict("records")]
        for same, rows in beside.groupby(beside["differs"] == result.differs)
    }
    if against := said.get(False):
        return f"{told}, but {words.format_list(against)} {'does' if len(against) == 1 else 'do'} not agree."
    if agreeing := said.get(True):
        return f"{told}; {words.format_list(agreeing)} {'agrees' if len(agreeing) == 1 else 'agree'}."
    return f"{told}."


def _most_and_least(result: Liking) -> str:
    rows = result.boxes.loc[result.boxes["box"] == "top 3"].sort_values("share", ascending=False, kind="stable")
    said = [
        f"{row['prototype']} from {row['count']:d} of {words.counted(row['base'], 'consumer')} "
        f"({words.format_share(row['share'])}, {words.format_shares(row['ci_low'], row['ci_high'])})"
        for row in (rows.iloc[0], rows.iloc[-1])
    ]
    return f"One of the top three points (7, 8 or 9): most often {said[0]}, least often {said[1]}."


def _serving(row: Mapping[Any, Any], result: Liking) -> str:
    """Return whether liking differs by position or session, and whether that changes the answer."""
    if not row["matters"]:
        return f"No difference by {row['effect']} shows ({words.p_words(row['p_value'])})."
    where = ""
    if row["effect"] == "position" and len(result.positions):
        told = result.positions.sort_values("estimate", ascending=False, kind="stable")
        high, low = told.iloc[0], told.iloc[-1]
        where = (
            f": position {high['position']:.0f} gets {words.format_change(high['estimate'] - low['estimate'])} over "
            f"position {low['position']:.0f}"
        )
    stays = "stays the same" if row["prototypes_differ"] == result.differs else "changes"
    return (
        f"Liking differs by {row['effect']} ({words.p_words(row['p_value'])}){where}. With it taken out the answer "
        f"about the prototypes {stays} ({words.p_words(row['prototype_p_value'])})."
    )


def _uses(result: Liking) -> list[str]:
    lost = result.lost.loc[result.lost["consumers_lost"] > 0]
    return [
        f"The {row['method']} test can use {words.counted(row['consumers'], 'consumer')} only; the mixed model also "
        f"uses the {words.counted(row['answers_lost'], 'answer')} of the other {row['consumers_lost']}."
        for row in lost.to_dict("records")
    ]


def _same_everywhere(result: Liking) -> list[str]:
    rows = result.same_everywhere
    if rows.empty:
        return []
    return [
        f"{words.counted(len(rows), 'consumer')} gave every prototype the same answer "
        f"({words.first_few(list(rows['assessor']))}). They stay in; such answers say nothing about differences."
    ]


_LINE, _BOTTOM, _MARGIN, _RIGHT = 0.34, 0.55, 0.12, 0.25  # inches
_BAR = 0.78  # of a line
_LIGHTEST, _DARKEST = 0.97, 0.10  # of the map of greys and blues: dark is disliked
_DARK = 0.55  # luminance below which numbers are white


def _distribution_figure(result: Liking, names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return stacked bars, best liked first: each part is a point of the scale, with its number written in it."""
    from matplotlib import colormaps
    from matplotlib.ticker import PercentFormatter

    order = list(_best_first(result)["prototype"])
    labels = [names.prototype(str(name)) for name in order]
    labels = [pictures.shortened(label, pictures.LETTERS, 0.36 * width * pictures.POINTS) for label in labels]
    left = max(pictures.text_width(label, pictures.LETTERS) for label in labels) / pictures.POINTS + 2 * _MARGIN
    ends, room = "1 dislike extremely ... 9 like extremely", (width - left - _RIGHT) * pictures.POINTS
    title = pictures.wrapped(ends, pictures.LETTERS, room)
    depth, top = _LINE * (len(order) + 0.4), 0.15 + 0.17 * len(title)
    height, wide = top + depth + _BOTTOM, width - left - _RIGHT
    figure, axes = pictures.framed(width, height, (left, _BOTTOM, wide, depth))
    least = 10 / pictures.POINTS / wide  # smallest share with room for its number
    shade = colormaps["cividis"](np.linspace(_DARKEST, _LIGHTEST, 9))
    shares = result.distribution.pivot_table(index="prototype", columns="answer", values="share").loc[order]
    start = np.zeros(len(order))
    places = np.arange(len(order)) + 0.7
    look: dict[str, Any] = {"fontsize": pictures.LETTERS - 1, "ha": "center", "va": "center"}
    for place, (answer, share) in enumerate(shares.items()):
        parts = share.to_numpy(dtype=float)
        axes.barh(places, parts, _BAR, left=start, color=shade[place], edgecolor="white", linewidth=0.8)
        ink = "white" if float(shade[place][:3] @ (0.2126, 0.7152, 0.0722)) < _DARK else pictures.INK
        for y, x, part in zip(places, start, parts, strict=True):
            if part >= least:
                axes.text(x + part / 2, y, str(answer), color=ink, **look)
        start = start + parts
    axes.set(xlim=(0, 1), ylim=(len(order) + 0.4, 0))
    axes.set_yticks(places, labels, fontsize=pictures.LETTERS, color=pictures.INK)
    axes.xaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    axes.tick_params(axis="x", labelsize=pictures.LETTERS - 1, colors=pictures.INK)
    axes.tick_params(axis="y", length=0)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_title("\n".join(title), fontsize=pictures.LETTERS, loc="left", color=pictures.INK)
    axes.set_xlabel("Share of the consumers who tried it", fontsize=pictures.LETTERS, color=pictures.INK)
    return figure


def _distribution(result: Liking, names: Naming) -> Picture:
    top = result.boxes.loc[result.boxes["box"] == "top 3"].sort_values("share", ascending=False, kind="stable")
    said = [f"{row['prototype']} {words.format_share(row['share'])}" for row in top.to_dict("records")]
    alt = f"Stacked bars of the nine points, one bar per prototype. Share of 7, 8 and 9: {'; '.join(said)}."
    return Picture("liking_distribution", "Distribution of liking", alt, partial(_distribution_figure, result, names))


def _means_figure(result: Liking, names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return the mean liking of each prototype with its interval, best liked first, letters at the right."""
    rows = pictures.as_prototypes(_best_first(result), names)
    hollow = "; hollow: benchmark" if result.benchmark else ""
    figure, _ = pictures.line_by_line(
        rows.assign(filled=rows["prototype"] != result.benchmark),
        _LINE * 0.75,
        [names.prototype(str(name)) for name in rows["prototype"]],
        remarks=rows["letters"],
        free=0.25,
        width=width,
        limits=pictures.needed_limits(rows),
        title="Mean liking",
        x_title=f"1 to 9, {words.level_words(LEVEL)}s; same letter: not separated{hollow}",
    )
    return figure


def _means_alt(result: Liking) -> str:
    said = [
        f"{row['prototype']} {words.with_interval(row['estimate'], row['ci_low'], row['ci_high'])}"
        for row in _best_first(result).to_dict("records")
    ]
    return f"Mean liking of each prototype with its interval: {'; '.join(said)}."
