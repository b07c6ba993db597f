"""How well consumers like the prototypes, in plain sentences made from the numbers, and what that cannot show."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib import colormaps
from matplotlib.figure import Figure
from matplotlib.ticker import PercentFormatter

from panel.models.consumers.liking import CORRECTED, Liking
from panel.models.prototypes.differences import CANNOT_TELL, EQUIVALENT
from panel.study.naming import Naming
from panel.views.drawing.interval_picture import FONT, interval_figure, needed_limits
from panel.views.drawing.pictures import COLOURS, INK, svg_text, text_width
from panel.words import (
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    p_words,
)

DIGITS = 1  # of a mean on nine points
_AGREES, _DIFFERS = "come to the same", "do not come to the same"


def liking_headline(result: Liking, names: Naming) -> str:
    """Return the answer in one sentence: which is liked best, or that there is no winner."""
    means = result.means.sort_values("estimate", ascending=False, kind="stable")
    best = means.iloc[0]
    name, mean = names.prototype(str(best["prototype"])), format_number(best["estimate"], DIGITS)
    if result.p_value >= 1 - result.level:
        return f"The prototypes cannot be separated by liking: no winner. The highest mean is {mean} of 9 ({name})."
    with_best = [
        str(row["prototype"]) for row in means.to_dict("records") if set(row["letters"]) & set(best["letters"])
    ]
    if len(with_best) == 1:
        return f"{name} is liked best, {mean} of 9 on average, and better than every other prototype."
    rest = [str(other) for other in means["prototype"] if other not in with_best]
    if not rest:
        return f"Some prototypes are liked better than others, but none can be separated from {name}, the highest."
    return (
        f"There is no single winner: {format_list(with_best)} cannot be separated. {format_list(rest)} "
        f"{'is' if len(rest) == 1 else 'are'} liked less than {best['prototype']}, the highest ({mean} of 9)."
    )


def what_liking_shows(result: Liking, names: Naming) -> list[str]:
    """Return the sentences that read the numbers aloud."""
    lines = []
    if len(result.versus):
        lines.append(_against_benchmark(result, names))
    elif result.benchmark is None:
        lines.append("No benchmark was tried by these consumers, so there are no differences from one.")
    lines.append(_tests(result))
    lines.append(_top(result, names))
    lines += _serving(result)
    lines += _ways(result)
    if len(result.same_everywhere):
        who = format_list([str(name) for name in result.same_everywhere["assessor"]][:8])
        lines.append(
            f"{len(result.same_everywhere)} consumers gave every prototype the same answer ({who}"
            f"{', ...' if len(result.same_everywhere) > 8 else ''}). They stay in; such answers say nothing about "
            "differences."
        )
    return lines


def what_liking_cannot_show(result: Liking) -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    return (
        "Liking in one room after minutes is not liking after weeks of use, and not buying.",
        "A mean can hide opposite tastes: look at the distribution and at the groups of consumers.",
        "'Cannot be separated' is not 'liked equally': that needs a margin set beforehand and an interval within it.",
        "Consumers say what they like, not how strong a sensation is, nor why; the trained panel says what is felt.",
        "They stand for people like those who were recruited, and for one batch of each prototype.",
    )


def _against_benchmark(result: Liking, names: Naming) -> str:
    told = result.versus.loc[~result.versus["verdict"].isin([CANNOT_TELL, EQUIVALENT])]
    open_ones = [str(name) for name in result.versus.loc[result.versus["verdict"] == CANNOT_TELL, "prototype"]]
    alike = [str(name) for name in result.versus.loc[result.versus["verdict"] == EQUIVALENT, "prototype"]]
    parts = []
    for word, rows in (("better", told[told["estimate"] > 0]), ("less", told[told["estimate"] < 0])):
        if len(rows):
            each = [
                f"{row['prototype']} by {format_number(abs(row['estimate']), DIGITS)} "
                f"({format_interval(row['ci_low'], row['ci_high'], DIGITS)})"
                for row in rows.sort_values("estimate", ascending=False).to_dict("records")
            ]
            parts.append(f"liked {word}: {format_list(each)}")
    if alike:
        parts.append(f"within the margin: {format_list(alike)}")
    if open_ones:
        parts.append(f"cannot be separated from it: {format_list(open_ones)}")
    return f"Against {names.prototype(str(result.benchmark))}, {'; '.join(parts)}."


def _tests(result: Liking) -> str:
    beside = result.tests.loc[~result.tests["test"].isin(["mixed model", CORRECTED])]
    words = f"That all are liked alike: {p_words(result.p_value)} by the mixed model"
    if beside.empty:
        return f"{words}."
    others = [f"{p_words(row['p_value'])} by {_TEST_WORDS[row['test']]}" for row in beside.to_dict("records")]
    limit = 1 - result.level
    same = ((beside["p_value"] < limit) == (result.p_value < limit)).all()
    return f"{words}, {format_list(others)}: they {_AGREES if same else _DIFFERS}."


_TEST_WORDS = {
    "Friedman": "Friedman's test of the ranks",
    "Durbin": "Durbin's test of the ranks",
    "Skillings-Mack": "Skillings and Mack's test of the ranks",
    "cumulative logit": "the model that uses only the order of the nine points",
}


def _top(result: Liking, names: Naming) -> str:
    rows = result.boxes.loc[result.boxes["box"] == "top 3"].sort_values("share", ascending=False, kind="stable")
    first, last = rows.iloc[0], rows.iloc[-1]
    said = [
        f"{row['prototype']} from {row['count']:.0f} of {row['base']:.0f} consumers ({format_share(row['share'])}, "
        f"{format_share(row['ci_low'])} to {format_share(row['ci_high'])})"
        for row in (first, last)
    ]
    return f"One of the top three points (7, 8 or 9): most often {said[0]}, least often {said[1]}."


def _serving(result: Liking) -> list[str]:
    lines = []
    limit = 1 - result.level
    for row in result.serving.to_dict("records"):
        if row["p_value"] >= limit:
            lines.append(f"No effect of the {row['effect']} shows ({p_words(row['p_value'])}).")
            continue
        where = ""
        if row["effect"] == "position" and len(result.positions):
            told = result.positions.sort_values("estimate", ascending=False, kind="stable")
            high, low = told.iloc[0], told.iloc[-1]
            where = (
                f": position {high['position']:.0f} gets {format_change(high['estimate'] - low['estimate'], DIGITS)} "
                f"over position {low['position']:.0f}"
            )
        main = result.p_value < limit
        stays = "stays the same" if (row["prototype_p_value"] < limit) == main else "changes"
        lines.append(
            f"The {row['effect']} has an effect ({p_words(row['p_value'])}){where}. With it taken out the answer about "
            f"the prototypes {stays} ({p_words(row['prototype_p_value'])})."
        )
    return lines


def _ways(result: Liking) -> list[str]:
    lost = result.lost.loc[result.lost["consumers_lost"] > 0]
    return [
        f"The {row['method']} test can use {row['consumers']} consumers only; the mixed model also uses "
        f"the {row['answers_lost']} answers of the other {row['consumers_lost']}."
        for row in lost.to_dict("records")
    ]


# Liking as tables a person reads: means and top of the scale, differences, tests, and what each method uses.


_DIGITS = 2


def liking_table(result: Liking, names: Naming) -> pd.DataFrame:
    """Return one row per prototype, best liked first: mean, interval, letters, top 2 and top 3 with their bases."""
    means = result.means.sort_values("estimate", ascending=False, kind="stable")
    boxes = {box: rows.set_index("prototype") for box, rows in result.boxes.groupby("box", sort=False)}
    rows = []
    for row in means.to_dict("records"):
        name = str(row["prototype"])
        rows.append(
            [
                names.prototype(name),
                f"{row['n']:.0f}",
                format_number(row["estimate"], _DIGITS),
                format_interval(row["ci_low"], row["ci_high"], _DIGITS),
                row["letters"],
                *(_box(own.loc[[name]].iloc[0]) for own in boxes.values()),
            ]
        )
    heading = ["Prototype", "Consumers", "Mean liking (1 to 9)", f"{100 * result.level:g} % interval"]
    tops = [f"{'8 or 9' if box == 'top 2' else '7, 8 or 9'} ({100 * result.level:g} % interval)" for box in boxes]
    return pd.DataFrame(rows, columns=[*heading, "Cannot be separated if they share a letter", *tops], dtype="str")


def liking_pairs_table(pairs: pd.DataFrame, result: Liking) -> pd.DataFrame:
    """Return one row per difference, with the paired test of that pair alone beside the adjusted one."""
    return pd.DataFrame(
        {
            "Prototype": list(pairs["prototype"]),
            "Compared with": list(pairs["versus"]),
            "Difference (points)": [format_change(value, _DIGITS) for value in pairs["estimate"]],
            f"{100 * result.level:g} % interval": [
                format_interval(low, high, _DIGITS) for low, high in zip(pairs["ci_low"], pairs["ci_high"], strict=True)
            ],
            "p, adjusted": [format_p(value) for value in pairs["p_adjusted"]],
            "p of this pair alone": [format_p(value) for value in pairs["paired_p_value"]],
            "In words": [
                "cannot be separated" if verdict == "cannot tell" else verdict for verdict in pairs["verdict"]
            ],
        },
        dtype="str",
    )


def liking_tests_table(result: Liking) -> pd.DataFrame:
    """Return one row per test that no prototype is liked better, with what it uses and loses."""
    lost = result.lost.set_index("method")
    rows = []
    for row in result.tests.to_dict("records"):
        own = lost.loc[row["test"]]
        df = format_number(row["df"], 1 if row["test"] == CORRECTED else 0)
        rows.append(
            [
                row["test"],
                format_number(row["statistic"], 2),
                df if pd.isna(row["df_error"]) else f"{df}; {format_number(row['df_error'], 1)}",
                format_p(row["p_value"]),
                f"{own['consumers']} ({own['answers']} answers)",
                f"{own['consumers_lost']} ({own['answers_lost']} answers)" if own["consumers_lost"] else NOTHING,
                own["why"] or NOTHING,
            ]
        )
    columns = ["Test", "Statistic", "Degrees of freedom", "p", "Consumers used", "Lost", "Because they"]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def _box(row: pd.Series) -> str:
    return (
        f"{row['count']:.0f} of {row['base']:.0f}: {format_share(row['share'])} "
        f"({format_share(row['ci_low'])} to {format_share(row['ci_high'])})"
    )


# Pictures of liking: how often each of the nine points was given, and the means with their intervals.


_POINTS = 72.0  # to the inch
_WIDTH, _LINE, _TOP, _BOTTOM, _MARGIN, _RIGHT = 5.6, 0.34, 0.55, 0.55, 0.12, 0.2  # inches
_BAR = 0.78  # of a line
_LIGHTEST, _DARKEST = 0.97, 0.10  # of the map of greys and blues: dark is disliked
_WRITTEN = 0.035  # smallest share with room for its number
_DARK = 0.55  # luminance below which numbers are white


def distribution_figure(result: Liking, names: Naming) -> Figure:
    """Return stacked bars, best liked first: each part is a point of the scale, with its number written in it."""
    order = list(result.means.sort_values("estimate", ascending=False, kind="stable")["prototype"])
    labels = [names.prototype(str(name)) for name in order]
    left = max(text_width(label, FONT) for label in labels) / _POINTS + 2 * _MARGIN
    depth = _LINE * (len(order) + 0.4)
    width, height = left + _WIDTH + _RIGHT, _TOP + depth + _BOTTOM
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, _BOTTOM / height, _WIDTH / width, depth / height))
    shade = colormaps["cividis"](np.linspace(_DARKEST, _LIGHTEST, 9))
    shares = result.distribution.pivot_table(index="prototype", columns="answer", values="share").loc[order]
    start = np.zeros(len(order))
    places = np.arange(len(order)) + 0.7
    for number, (answer, share) in enumerate(shares.items()):
        wide = share.to_numpy(dtype=float)
        axes.barh(places, wide, _BAR, left=start, color=shade[number], edgecolor="white", linewidth=0.8)
        ink = "white" if float(shade[number][:3] @ (0.2126, 0.7152, 0.0722)) < _DARK else INK
        for y, x, part in zip(places, start, wide, strict=True):
            if part >= _WRITTEN:
                axes.text(x + part / 2, y, str(answer), fontsize=FONT - 1, color=ink, ha="center", va="center")
        start = start + wide
    axes.set(xlim=(0, 1), ylim=(len(order) + 0.4, 0))
    axes.set_yticks(places, labels, fontsize=FONT, color=INK)
    axes.xaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    axes.tick_params(axis="x", labelsize=FONT - 1, colors=INK)
    axes.tick_params(axis="y", length=0)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_title(
        "How often each point was given: 1 dislike extremely ... 9 like extremely", fontsize=FONT, loc="left"
    )
    axes.set_xlabel("Share of the consumers who tried it", fontsize=FONT, color=INK)
    return figure


def distribution_svg(result: Liking, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the distribution as SVG text."""
    return svg_text(
        distribution_figure(result, names),
        title="Distribution of liking",
        description=distribution_alt_text(result),
        text_as_paths=text_as_paths,
    )


def distribution_alt_text(result: Liking) -> str:
    """Return what the bars show, for those who do not see them."""
    top = result.boxes.loc[result.boxes["box"] == "top 3"].sort_values("share", ascending=False, kind="stable")
    said = [f"{row['prototype']} {format_share(row['share'])}" for row in top.to_dict("records")]
    return f"Stacked bars of the nine points, one bar per prototype. Share of 7, 8 and 9: {'; '.join(said)}."


def liking_figure(result: Liking, names: Naming) -> Figure:
    """Return the mean liking of each prototype with its interval, best liked first, letters at the right."""
    rows = result.means.sort_values("estimate", ascending=False, kind="stable").reset_index(drop=True)
    y = _LINE * 0.75 * (np.arange(len(rows)) + 0.75)
    rows = rows.assign(y=y, colour=COLOURS[0], shape="o", filled=rows["prototype"] != result.benchmark)
    figure, _ = interval_figure(
        rows,
        _LINE * 0.75 * (len(rows) + 0.5),
        [(at, names.prototype(str(name))) for at, name in zip(y, rows["prototype"], strict=True)],
        remarks=list(zip(y, rows["letters"], strict=True)),
        limits=needed_limits(rows),
        title="Mean liking",
        x_title=_x_title(result),
    )
    return figure


def _x_title(result: Liking) -> str:
    hollow = "; hollow: benchmark" if result.benchmark else ""
    return f"1 to 9, {100 * result.level:g} % intervals; same letter: not separated{hollow}"


def liking_svg(result: Liking, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the means as SVG text."""
    said = [
        f"{row['prototype']} {format_number(row['estimate'], 1)} ({format_interval(row['ci_low'], row['ci_high'], 1)})"
        for row in result.means.sort_values("estimate", ascending=False, kind="stable").to_dict("records")
    ]
    return svg_text(
        liking_figure(result, names),
        title="Mean liking",
        description=f"Means with intervals: {'; '.join(said)}.",
        text_as_paths=text_as_paths,
    )
