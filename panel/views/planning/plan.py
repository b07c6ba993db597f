"""What to make and who gets what: plans of prototypes and of servings, in a sentence, a picture and tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.plan.mixture_plan import MixturePlan
from panel.plan.orders import ServingPlan
from panel.plan.swap_plan import SwapPlan
from panel.study.naming import Naming
from panel.study.people import WHO_MAY_SEE
from panel.study.shown import ASSESSOR, PROTOTYPE, VERDICT, Across, Shown, Table, count, each_row, number, text, yes_no
from panel.views.emollients.swaps import swap_words
from panel.views.pictures import BROAD, FAINT, GREY, INK, POINTS, sheet, text_width, wrapped
from panel.views.told import Item, Picture, Told, drawer
from panel.words import DOWN, NOTHING, capital, counted, first_few, format_list, format_number, format_share

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_COUNTED = {
    "place": "How often each prototype stands at each position",
    "carry-over": "How often each prototype comes straight after each other one",
    "site": "How often each prototype goes to each site",
}
_EVEN = {"place": "positions", "carry-over": "what follows what", "site": "sites"}
_WHOLE = 0.995  # a precision that rounds to all of it is not mentioned
_TRAYS = 24  # people in the picture; the others are in the table


BALANCE = Table(
    name="balance",
    title="How even the plan is",
    rows=lambda balance: balance.summary,
    columns=(
        text("What was counted", "what", _COUNTED),
        each_row("Where", lambda row, _: f"session {row['session']}" if row["session"] else "all sessions"),
        *(count("Smallest", "smallest"), count("Largest", "largest"), VERDICT),
    ),
    key=("what", "session"),
)
_GAPS = Table(
    name="gaps",
    title="What somebody must not get, and why",
    rows="gaps",
    columns=(text("Assessor", "assessor"), text("Does not get", "prototype"), text("Why", "reason")),
)


def _counts(name: str, title: str, across: str, heading: str) -> Table:
    """Describe how often each prototype (row) meets each position, site or prototype before it (column)."""
    cell = count("", "count")
    return Table(
        name,
        title,
        lambda plan: getattr(plan.balance, name),
        (PROTOTYPE,),
        ("prototype", across),
        Across(across, cell, lambda value, _: f"{heading}{value:g}" if across == "position" else f"{heading}{value}"),
    )


def _carried(plan: ServingPlan) -> pd.DataFrame:
    rows = plan.balance.carry_over
    order = {name: place for place, name in enumerate(dict.fromkeys(rows["prototype"]))}
    return rows.sort_values("after", key=lambda names: names.map(order), kind="stable", ignore_index=True)


_PLACES = _counts("positions", "Prototypes by position", "position", "Position ")
_SITES = _counts("sites", "Prototypes by site", "site", "")
_CARRY_OVER = Table(
    "carry_over",
    "What comes straight after what",
    _carried,
    (PROTOTYPE,),
    ("prototype", "after"),
    Across("after", count("", "count"), lambda value, _: f"After {value}"),
)


def tell_servings(plan: ServingPlan, names: Naming, session: str = "") -> Told:
    """Tell what is served and how even that is; the picture shows the trays of one session, the first if not given."""
    served = plan.servings
    sizes = served.groupby(["session", "assessor"]).size()
    low, high = int(sizes.min()), int(sizes.max())
    people, prototypes = served["assessor"].nunique(), served["prototype"].nunique()
    each = f"{low}" if low == high else f"{low} to {high}"
    gaps: list[Item] = [_GAPS, WHO_MAY_SEE] if len(plan.gaps) else []
    return Told(
        plan,
        names,
        f"{counted(people, 'person', 'people')} score {counted(prototypes, 'prototype')} in "
        f"{counted(served['session'].nunique(), 'session')}: {counted(len(served), 'serving')}, {each} for each person "
        "in a session.",
        picture=_trays(plan, session or str(plan.servings["session"].iloc[0])),
        mind=tuple(_evenness(plan)),
        drawers=(
            drawer("What somebody must not get", *gaps),
            drawer("How even it is: positions, what follows what, sites", _PLACES, _CARRY_OVER, _SITES),
        ),
        cannot=(
            "An even plan spreads the effects of order and site over the prototypes; it does not remove them.",
            "Nobody may apply a sample before the safety gate is open for its batch. A plan is no permission.",
            "Codes hide the prototypes only if containers, fill, colour and smell do not give them away.",
        ),
    )


def _evenness(plan: ServingPlan) -> list[str]:
    """Return how even the plan is, and what it loses by splitting the prototypes over sessions."""
    whole = plan.balance.summary.loc[plan.balance.summary["session"] == ""]
    parts = [
        f"{format_list([_EVEN[str(kind)] for kind in rows['what']])}: {verdict}"
        for verdict, rows in whole.groupby("verdict", sort=False)
    ]
    told = [f"{capital('; '.join(parts))}."]
    shares = plan.balance.together["share"]
    if shares.min() < _WHOLE:
        told.append(
            f"Differences within sessions are {format_share(shares.median(), rounding=DOWN)} as precise as if every "
            f"session held every prototype, the weakest {format_share(shares.min(), rounding=DOWN)}."
        )
    return told


SERVINGS = Table(
    "servings",
    "Servings in their order",
    "servings",
    (
        *(text("Session", "session"), ASSESSOR, number("Position", "position", 0), text("Code", "code"), PROTOTYPE),
        text("Site", "site"),
    ),
)
"""Prototypes and codes only where the servings have them."""


def key_table(servings: pd.DataFrame) -> pd.DataFrame:
    """Return one row per prototype and one column per session: its code. Whoever sees it is no longer blind."""
    key = servings[["session", "prototype", "code"]].drop_duplicates()
    wide = key.pivot_table(index="prototype", columns="session", values="code", aggfunc="first").fillna(NOTHING)
    wide = wide[list(dict.fromkeys(key["session"]))].reindex(sorted(wide.index, key=_by_number))
    wide.columns = [f"Code in session {session}" for session in wide.columns]
    return wide.rename_axis("Prototype").reset_index().astype("str")


def _by_number(name: str) -> tuple[str, int]:
    digits = "".join(character for character in name if character.isdigit())
    return name.rstrip("0123456789"), int(digits or 0)


def _trays(plan: ServingPlan, session: str) -> Picture:
    """Return the trays of a session: a row a person, a dish for each position with its blind code, no prototype."""
    rows = plan.servings.loc[plan.servings["session"] == session]
    people = list(dict.fromkeys(rows["assessor"]))[:_TRAYS]
    rows = rows.loc[rows["assessor"].isin(people)]
    places = sorted(rows["position"].unique())
    cells = np.full((len(people), len(places)), "", dtype=object)
    for row in rows.to_dict("records"):
        cells[people.index(row["assessor"]), places.index(row["position"])] = row["code"]
    first = "; ".join(
        f"{who}: {', '.join(code for code in line if code)}" for who, line in zip(people, cells, strict=True)
    )
    missing = plan.servings["assessor"].nunique() - len(people)
    more = f" {counted(missing, 'more person', 'more people')} in the table." if missing else ""
    return Picture(
        "trays",
        f"The trays of session {session}, from first to last",
        f"The codes on each tray of session {session}, from first to last, prototypes hidden. {first}.{more}",
        lambda width: tray_figure(people, [format_number(float(place), 0) for place in places], cells, width),
    )


def tray_figure(rows: Sequence[str], columns: Sequence[str], cells: np.ndarray, width: float = BROAD) -> Figure:
    """Return trays: a row each, a dish with its word in every cell that has one; an empty place stays empty.

    Parameters
    ----------
    rows, columns
        Words at the left of each tray and over each place.
    cells
        (rows, columns) words on the dishes.
    width
        In inches; what does not fit beside each other goes into a second band of trays.
    """
    names = [wrapped(word, _FONT, 0.4 * width * POINTS, 2) for word in rows]
    left = max(text_width(line, _FONT) / POINTS for lines in names for line in lines) + 0.25
    wide = max([text_width(str(word), _FONT) / POINTS for word in cells.ravel()] + [0.35]) + 0.2
    wide = max(wide, min(max(text_width(word, _FONT) / POINTS for word in columns) + 0.1, _MOST_WIDE))
    bands = -(-len(columns) // max(1, int((width - left - 0.1) / wide)))
    across = -(-len(columns) // bands)
    wide = min((width - left - 0.1) / across, _MOST_WIDE)
    heads = [wrapped(word, _FONT, (wide - 0.06) * POINTS, 5) for word in columns]
    depth = _ROW * len(rows) + 0.15 * max(map(len, heads)) + 0.2
    height = bands * depth + 0.15
    figure, axes = sheet(width, height)
    for band in range(bands):
        some = slice(band * across, (band + 1) * across)
        _draw_trays(axes, names, heads[some], cells[:, some], (left, (band + 1) * depth, wide))
    return figure


def _draw_trays(
    axes: Axes,
    rows: Sequence[Sequence[str]],
    columns: Sequence[Sequence[str]],
    cells: np.ndarray,
    at: tuple[float, float, float],
) -> None:
    """Draw one band of trays; `at`: where the places begin, the foot of the band, and the width of a place."""
    from matplotlib.patches import Ellipse, FancyBboxPatch

    left, foot, wide = at
    top = foot - _ROW * len(rows)
    words: dict[str, Any] = {"fontsize": _FONT, "color": INK, "va": "center", "linespacing": 1.0}
    for place, lines in enumerate(columns):
        look = words | {"va": "bottom"}
        axes.text(left + wide * (place + 0.5), top - 0.05, "\n".join(lines), ha="center", **look)
    for line, lines in enumerate(rows):
        y = top + _ROW * (line + 0.5)
        axes.text(0.1, y, "\n".join(lines), ha="left", **words)
        rim = "round,pad=0,rounding_size=0.1"
        tray = (left, y - 0.42 * _ROW), wide * len(columns), 0.84 * _ROW
        axes.add_patch(FancyBboxPatch(*tray, boxstyle=rim, facecolor=_TRAY, edgecolor=FAINT))
        for place, word in enumerate(cells[line]):
            if word:
                x = left + wide * (place + 0.5)
                dish = (x, y), min(wide - 0.08, _WIDEST), 0.66 * _ROW
                axes.add_patch(Ellipse(*dish, facecolor="white", edgecolor=GREY))
                axes.text(x, y, word, ha="center", **words)


_FONT = 9.0  # points
_ROW, _WIDEST, _MOST_WIDE = 0.36, 0.9, 1.3  # inches
_TRAY = "#eef2f4"


def _swap(row: Mapping[str, Any], _: Shown) -> str:
    return f"{row['letter']}: {swap_words(row['swap'])}"


SWAPS = Table(
    name="planned_swaps",
    title="What each swap can show",
    rows="swaps",
    columns=(
        *(each_row("Swap", _swap, "letter", "swap"), number("% of the formula", "percent", 2)),
        *(count("Matched pairs", "n_pairs"), number("Variance inflation", "variance_inflation", 2)),
    ),
    key=("letter",),
)


_PLANNED = Table(
    name="plan",
    title="Prototypes to make",
    rows="prototypes",
    columns=(PROTOTYPE, each_row("Swaps made", lambda row, _: row["made"] or "base", "made")),
    key=("prototype",),
)


def _per_cent(row: Mapping[str, Any], _: Shown) -> str:
    return NOTHING if pd.isna(row["percent"]) or row["percent"] == 0 else format_number(row["percent"], 2)


def _with_sum(plan: SwapPlan | MixturePlan) -> pd.DataFrame:
    """Return one row per ingredient and prototype, with the sum of each prototype below."""
    amounts = plan.formulas.groupby(["ingredient", "prototype"], sort=False, as_index=False)["percent"].sum()
    total = plan.formulas.groupby("prototype", sort=False, as_index=False)["percent"].sum()
    return pd.concat([amounts, total.assign(ingredient="Sum")], ignore_index=True)


FORMULAS = Table(
    name="planned_formulas",
    title="Their formulas",
    rows=_with_sum,
    columns=(text("Ingredient, %", "ingredient"),),
    key=("ingredient", "prototype"),
    across=Across("prototype", each_row("", _per_cent, "percent", figure=True)),
)


def tell_plan(plan: SwapPlan, names: Naming) -> Told:
    """Tell what a plan of prototypes can tell apart, and show which swaps are made in which."""
    return Told(
        plan,
        names,
        _plan_headline(plan),
        picture=_plan_picture(plan),
        mind=tuple(_plan_mind(plan)),
        table=_PLANNED,
        drawers=(
            drawer("What each swap can show", SWAPS),
            drawer("Their formulas", FORMULAS),
            drawer("Before making them", *cautions_sentences(plan.cautions)),
        ),
        cannot=("What a plan cannot see: structure, stability, and the luck of single batches.",),
    )


def _plan_headline(plan: SwapPlan) -> str:
    start = f"{counted(len(plan.prototypes), 'prototype')} for {counted(len(plan.swaps), 'swap')}"
    if len(plan.aliases):
        groups = [" = ".join(group["effect"]) for _, group in plan.aliases.groupby("group")]
        return f"{start}; cannot be told apart: {first_few(groups)} (two letters: what two swaps do together)."
    if len(plan.swaps) == 1:
        return f"{start}: its effect can be told."
    if plan.kind == "full":
        return f"{start}: every swap, and what every two do together, can be told apart."
    return f"{start}: every swap can be told apart, if swaps do not change each other."


def _plan_mind(plan: SwapPlan) -> list[str]:
    told = [f"Their blends differ in {counted(plan.n_moves, 'independent way')}."]
    if len(plan.extra):
        best = plan.extra.iloc[0]
        frees = int(best["rank_gain"])
        teaches = f"sets {counted(frees, 'more effect')} free" if frees else "sharpens the effects"
        pairs = int(best["n_pairs"])
        adds = f" and makes {counted(pairs, 'matched pair')}" if pairs else ""
        told.append(f"One prototype more would tell most with the swaps {best['made']}: it {teaches}{adds}.")
    return [*told, "A plan is no approval: nobody applies a prototype before a qualified person has signed for it."]


def _plan_picture(plan: SwapPlan) -> Picture:
    letters = list(plan.swaps["letter"])
    made = plan.prototypes[letters].to_numpy(dtype=bool)
    cells = np.where(made, np.array(letters, dtype=object), "")
    rows = [str(name) for name in plan.prototypes["prototype"]]
    heads = [f"{letter}: {swap_words(str(swap))}" for letter, swap in zip(letters, plan.swaps["swap"], strict=True)]
    told = zip(rows, plan.prototypes["made"], strict=True)
    alt = f"Which swaps are made in which prototype: {'; '.join(f'{name} {made or NOTHING}' for name, made in told)}."
    return Picture("plan", "Which swaps are made in which prototype", alt, partial(tray_figure, rows, heads, cells))


def mixture_blends(plan: MixturePlan) -> Table:
    """Return the table of blends, a column for each emollient, per cent of the formula."""
    columns = [number(str(name), name, 2) for name in plan.blends.columns if name != "prototype"]
    return Table("blends", "Blends to make, per cent of the formula", "blends", (PROTOTYPE, *columns))


MIXTURE_MODELS = Table(
    name="models",
    title="Which mixture models these blends can carry",
    rows="models",
    columns=(
        *(text("Model", "model"), count("Terms", "terms"), number("Blends to spare", "spare", 0)),
        yes_no("Enough", "enough"),
    ),
)


def cautions_sentences(cautions: pd.DataFrame) -> tuple[str, ...]:
    """Return the usual cautions of the ingredients of a plan, each once, with the ingredients it concerns."""
    return tuple(
        f"{format_list(list(part['ingredient']))}: {words}" for words, part in cautions.groupby("words", sort=False)
    )
