"""What the scores say about the model's assumptions, and what to do where one does not hold."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.prototypes.assumptions import Assumptions, Problem
from panel.study.naming import Naming
from panel.views import pictures
from panel.views.told import Picture, Told, drawer
from panel.words import capital, counted, format_list, format_number, format_share, p_after_holm

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_NAMED, _FEW_NAMED = 5, 3  # attributes in one sentence; the table has them all

_ADVICE: Mapping[Problem, str] = MappingProxyType(
    {
        Problem.UNEVEN_ASSESSORS: (
            "Give this assessor a hidden repeat and practice at the anchors of the scale. Until then compare the "
            "ranks, which no wide spread can stretch, and show the result with and without this assessor. Leave nobody "
            "out without a reason written down before the prototypes are named."
        ),
        Problem.SPREAD_FOLLOWS_LEVEL: (
            "One standard error for all prototypes is then too small where the scores scatter and too large where they "
            "do not. Trust a difference only where the ranks show it too, and look whether an end of the scale crowds."
        ),
        Problem.NOT_NORMAL: (
            "Look first for single odd scores and for an assessor with a wide spread: they are the usual cause. Means "
            "of several assessors bear a moderate departure well; where a test is near its limit, rely on it only if "
            "the ranks agree."
        ),
        Problem.FLOOR: (
            "The scale cannot tell apart what lies below its low end, so these prototypes may differ more than is "
            "shown. Choose an anchor that leaves room below the weakest sample, or judge earlier, and say in the "
            "report how many scores were at the end."
        ),
        Problem.CEILING: (
            "The scale cannot tell apart what lies above its high end, so these prototypes may differ more than is "
            "shown. Choose an anchor that leaves room above the strongest sample, or judge later, and say in the "
            "report how many scores were at the end."
        ),
        Problem.ONE_SCORE_DECIDES: (
            "Look this score up on the ballot. A slip is corrected with a written reason; a true score stays, and both "
            "answers are shown. Score these prototypes again before anything rests on them."
        ),
    }
)


def tell_assumptions(result: Assumptions, names: Naming, attribute: str = "") -> Told:
    """Return what the scores say of the model's assumptions; the pictures are of one attribute, else of the first."""
    asked = attribute or str(result.residuals["attribute"].iloc[0])
    found = [kind for kind in _ADVICE if (result.problems["kind"] == kind).any()]
    told = [_SENTENCES[kind](result.problems.loc[result.problems["kind"] == kind], names) for kind in found]
    return Told(
        result,
        names,
        f"The scores speak against the model in {counted(len(found), 'way')}."
        if found
        else "Nothing in the scores speaks against the model: even spread, no crowded end, no single score that "
        "decides.",
        drawers=(
            drawer("What was found", *told),
            drawer("What to do about it", *(f"{capital(kind)}: {_ADVICE[kind]}" for kind in found)),
            drawer(
                f"What the model leaves over: {names.attribute(asked)}",
                *(_residual_picture(result, asked, names), *_spread_pictures(result, asked, names)),
            ),
        ),
        cannot=(
            "They look at scatter, not at bias: a code that gave a prototype away, or a bad batch, leaves no trace "
            "here.",
            "A small panel shows only gross trouble. Nothing found is not proof that all is well.",
            f"The p-values come from {result.draws} simulated panels each and cannot be smaller than "
            f"{format_number(1 / (result.draws + 1), 4)}.",
        ),
    )


def _uneven(rows: pd.DataFrame, names: Naming) -> str:
    parts = []
    for assessor, own in rows.groupby("assessor", sort=False):
        ratios = own["size"]
        low, high = format_number(ratios.min(), 1), format_number(ratios.max(), 1)
        times = low if low == high else f"{low} to {high}"
        parts.append(f"{assessor} {times} times as wide as the panel on {_attributes(own, names)}")
    return f"Scatter differs between assessors: {'; '.join(parts)}."


def _follows(rows: pd.DataFrame, names: Naming) -> str:
    sides = (("grows with the level", rows["size"] > 0), ("shrinks with the level", rows["size"] < 0))
    parts = [f"{words} on {_attributes(rows.loc[side], names)}" for words, side in sides if side.any()]
    return f"Scatter {'; it '.join(parts)}."


def _not_normal(rows: pd.DataFrame, names: Naming) -> str:
    clearest = rows.sort_values("p_adjusted", kind="stable").iloc[0]
    return (
        f"Residuals are not normal on {_attributes(rows, names)} "
        f"(clearest: {names.attribute(str(clearest['attribute']))}, {p_after_holm(clearest['p_adjusted'])})."
    )


def _crowded(end: str, rows: pd.DataFrame, names: Naming) -> str:
    parts = []
    for attribute, own in rows.groupby("attribute", sort=False):
        shares = [f"{row['prototype']} {format_share(row['size'])}" for row in own.to_dict("records")]
        parts.append(f"{names.attribute(str(attribute))} ({format_list(shares)} of the scores)")
    return f"Scores crowd at the {end} end of the scale: {'; '.join(parts)}."


def _decides(rows: pd.DataFrame, names: Naming) -> str:
    parts = [f"{names.attribute(row['attribute'])}: {_one_score(row)}" for row in rows.to_dict("records")]
    return f"A single score decides the result. {'; '.join(parts)}."


def _one_score(row: Mapping[Any, Any]) -> str:
    return (
        f"{row['assessor']} on {row['prototype']} (line {int(row['row'])}), without it the widest difference moves by "
        f"{format_number(row['size'], 1)} standard errors"
    )


def _attributes(rows: pd.DataFrame, names: Naming) -> str:
    listed = [names.attribute(str(name)) for name in dict.fromkeys(rows["attribute"])]
    if len(listed) <= _MOST_NAMED:
        return format_list(listed)
    return f"{len(listed)} attributes, among them {format_list(listed[:_FEW_NAMED])}"


_SENTENCES = {
    Problem.UNEVEN_ASSESSORS: _uneven,
    Problem.SPREAD_FOLLOWS_LEVEL: _follows,
    Problem.NOT_NORMAL: _not_normal,
    Problem.FLOOR: lambda rows, names: _crowded("low", rows, names),
    Problem.CEILING: lambda rows, names: _crowded("high", rows, names),
    Problem.ONE_SCORE_DECIDES: _decides,
}


_HEIGHT = 4.0  # inches
_BANDS = 6  # groups of equal size along the fitted values for which a typical residual is drawn
_LEAST_IN_BAND = 8
_MOST_LINES = 4  # of a title, however long a name is
_LINE = 0.28  # inches for one assessor
_PLAIN, _MARKED = pictures.OTHERS[0], pictures.OTHERS[1]
_LEGEND = "lines: ± SD of the residuals there; ringed: pull most"


def _residual_rows(result: Assumptions, attribute: str) -> pd.DataFrame:
    """Return the residuals of one attribute with `marked`: the widest assessor's, where assessors are uneven."""
    rows = result.residuals.loc[result.residuals["attribute"] == attribute].reset_index(drop=True)
    widest = _widest_assessor(result, attribute)
    return rows.assign(marked=rows["assessor"] == widest if widest else False)


def _typical_size(rows: pd.DataFrame) -> pd.DataFrame:
    """Return `low high spread`: the residual SD in groups of equal size along the fitted values."""
    bands = int(np.clip(len(rows) // _LEAST_IN_BAND, 1, _BANDS))
    ordered = rows.sort_values("fitted", kind="stable")
    parts = np.array_split(ordered[["fitted", "residual"]].to_numpy(dtype=float), bands)
    return pd.DataFrame(
        {
            "low": [part[:, 0].min() for part in parts],
            "high": [part[:, 0].max() for part in parts],
            "spread": [np.sqrt((part[:, 1] ** 2).mean()) for part in parts],
        }
    )


def _residual_figure(result: Assumptions, attribute: str, names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return residuals against fitted values, with their typical size along the scale and the scores that pull most."""
    from matplotlib.figure import Figure

    rows = _residual_rows(result, attribute)
    room = (width - 0.9) * 72
    title = pictures.wrapped(_title(result, attribute, names), pictures.LETTERS + 1, room, _MOST_LINES)
    below = pictures.wrapped(f"{names.with_scale('Fitted value')}; {_LEGEND}", pictures.LETTERS, room, _MOST_LINES)
    figure = Figure(figsize=(width, _HEIGHT + 0.18 * (len(title) + len(below) - 2)), layout="constrained")
    axes = figure.subplots()
    for chosen, colour in ((~rows["marked"], pictures.GREY), (rows["marked"], _MARKED)):
        axes.plot(
            rows.loc[chosen, "fitted"], rows.loc[chosen, "residual"], linestyle="none", marker="o", markersize=4,
            color=colour, alpha=0.75, markeredgewidth=0, zorder=2,
        )  # fmt: skip
    for band in _typical_size(rows).to_dict("records"):
        for sign in (-1, 1):
            ends, height = [band["low"], band["high"]], [sign * band["spread"]] * 2
            axes.plot(ends, height, color=_PLAIN, linewidth=1.8, solid_capstyle="butt", zorder=3)
    axes.axhline(0, color=pictures.INK, linewidth=1.0, zorder=1)
    axes.set_title("\n".join(title), fontsize=pictures.LETTERS + 1, color=pictures.INK, loc="left")
    axes.set_xlabel("\n".join(below), fontsize=pictures.LETTERS, color=pictures.INK)
    axes.set_ylabel("Residual (score minus fitted value)", fontsize=pictures.LETTERS, color=pictures.INK)
    pictures.plain(axes)
    _name_the_pullers(figure, axes, rows, result.influence.loc[result.influence["attribute"] == attribute])
    return figure


def _spread_figure(result: Assumptions, attribute: str, names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return each assessor's residuals as dots on a line, the widest first, with their SD as a bar."""
    people = result.assessors.loc[result.assessors["attribute"] == attribute]
    people = people.sort_values("ratio", ascending=False, kind="stable", na_position="last").reset_index(drop=True)
    widest = _widest_assessor(result, attribute)
    rows = people.assign(
        estimate=0.0,
        ci_low=-people["residual_sd"],
        ci_high=people["residual_sd"],
        colour=np.where(people["assessor"] == widest, _MARKED, _PLAIN),
        shape="|",
    )
    scores = result.residuals.loc[result.residuals["attribute"] == attribute]
    reach = 1.05 * float(scores["residual"].abs().max())
    remarks = [f"{format_number(ratio, 1)} ×" if np.isfinite(ratio) else "too few" for ratio in rows["ratio"]]
    figure, axes = pictures.line_by_line(
        rows,
        _LINE,
        rows["assessor"],
        remarks=remarks,
        free=0.25,
        width=width,
        limits=(-reach, reach),
        title=_title(result, attribute, names),
        x_title="Residual; bar: ± its SD; right: SD over the panel's",
    )
    height = scores["assessor"].map(dict(zip(rows["assessor"], axes.get_yticks(), strict=True))).astype("float64")
    axes.plot(
        scores["residual"], height, linestyle="none", marker="o", markersize=3, color=pictures.GREY, alpha=0.7, zorder=1
    )
    axes.axvline(0, color=pictures.INK, linewidth=1.0, zorder=0)
    return figure


def _residual_picture(result: Assumptions, attribute: str, names: Naming) -> Picture:
    sizes = _typical_size(_residual_rows(result, attribute))
    heard = "; ".join(
        f"{names.interval(attribute, row['low'], row['high'])}: {names.number(attribute, row['spread'])}"
        for row in sizes.to_dict("records")
    )
    return Picture(
        "residuals",
        f"Residuals, {_title(result, attribute, names)}",
        f"Residuals against fitted values. Typical size of a residual along the scale: {heard}.",
        partial(_residual_figure, result, attribute, names),
    )


def _spread_pictures(result: Assumptions, attribute: str, names: Naming) -> list[Picture]:
    """Return the picture of each assessor's scatter; none where nobody scored often enough to have one."""
    people = result.assessors.loc[result.assessors["attribute"] == attribute]
    if people["residual_sd"].isna().all():
        return []
    heard = "; ".join(
        f"{row['assessor']} {names.number(attribute, row['residual_sd'])} ({format_number(row['ratio'], 1)} times)"
        for row in people.to_dict("records")
    )
    picture = Picture(
        "residual_spread",
        f"Scatter of each assessor, {_title(result, attribute, names)}",
        f"Residual SD of each assessor, and over the panel's: {heard}.",
        partial(_spread_figure, result, attribute, names),
    )
    return [picture]


def _widest_assessor(result: Assumptions, attribute: str) -> str:
    """Return the assessor named as a problem of this attribute, or the empty string."""
    problems = result.problems
    named = problems.loc[
        (problems["attribute"] == attribute) & (problems["kind"] == Problem.UNEVEN_ASSESSORS), "assessor"
    ]
    return str(named.iloc[0]) if len(named) else ""


def _title(result: Assumptions, attribute: str, names: Naming) -> str:
    widest = _widest_assessor(result, attribute)
    return f"{names.measure(attribute)}{f' ({widest} scatters most)' if widest else ''}"


def _name_the_pullers(figure: Figure, axes: Axes, rows: pd.DataFrame, pullers: pd.DataFrame) -> None:
    """Ring the scores that pull most at the prototype means and name them where there is room."""
    named = rows.loc[rows["row"].isin(pullers["row"])]
    if named.empty:
        return
    axes.plot(
        named["fitted"], named["residual"], linestyle="none", marker="o", markersize=8, markerfacecolor="none",
        markeredgecolor=pictures.INK, markeredgewidth=1.0, zorder=4,
    )  # fmt: skip
    figure.draw_without_rendering()
    size, to_points = pictures.LETTERS - 1, 72 / figure.dpi
    box = axes.get_window_extent()
    corner = np.array([box.x0, box.y0])
    points = (axes.transData.transform(named[["fitted", "residual"]].to_numpy(dtype=float)) - corner) * to_points
    widest = box.width * to_points / 3
    words = [
        pictures.shortened(f"{row['assessor']} {row['prototype']}", size, widest) for row in named.to_dict("records")
    ]
    extents = [(pictures.text_width(word, size), size * 1.2) for word in words]
    centres = pictures.place_labels(points, extents, (box.width * to_points, box.height * to_points), 8.0)
    for word, centre in zip(words, axes.transData.inverted().transform(centres / to_points + corner), strict=True):
        label = axes.text(
            centre[0], centre[1], word, fontsize=size, color=pictures.INK, ha="center", va="center", zorder=5
        )
        label.set_in_layout(False)  # it lies inside; were it asked for room, the axes would shrink under it
