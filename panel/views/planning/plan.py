"""What a serving plan and planned numbers show, in plain sentences, and what they cannot show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.plan.balance import ServingBalance
from panel.plan.batch_numbers import BatchNumbers
from panel.plan.consumer_numbers import AnswerNumbers
from panel.plan.mixture_plan import MixturePlan
from panel.plan.orders import ServingPlan
from panel.plan.sample_size import ALL_PAIRS, ALONE, WITH_BENCHMARK, PanelSizes
from panel.plan.swap_plan import SwapPlan
from panel.study.naming import Naming
from panel.study.people import WHO_MAY_SEE
from panel.views.emollients.swaps import swap_words
from panel.words import DOWN, NOTHING, counted, format_list, format_number, format_share

_KINDS = {
    "place": "Prototypes at the positions of the order",
    "carry-over": "Prototypes straight after each other",
    "site": "Prototypes at the sites",
}
_TOLD = 0.995  # a precision that rounds to all of it is not mentioned


def what_the_plan_shows(plan: ServingPlan) -> list[str]:
    """Return what is served and how even that is, one plain line each."""
    served = plan.servings.loc[plan.servings["prototype"] != plan.warm_up] if plan.warm_up else plan.servings
    people, sessions = served["assessor"].nunique(), served["session"].nunique()
    prototypes = served["prototype"].nunique()
    lines = [
        f"{counted(people, 'assessor')}, {counted(prototypes, 'prototype')}, {counted(sessions, 'session')}: "
        f"{counted(len(served), 'serving')}, {_per_session(served)} for each assessor in a session."
    ]
    whole = plan.balance.summary.loc[plan.balance.summary["session"] == ""]
    lines += [_even(row) for row in whole.to_dict("records")]
    weakest, median = plan.balance.together["share"].min(), plan.balance.together["share"].median()
    if weakest < _TOLD:
        lines.append(
            f"Differences within sessions are {format_share(median)} as precise as if every session held every "
            f"prototype, the weakest {format_share(weakest)}."
        )
    if any("avoids" in note or "allergy" in note for note in plan.notes):
        lines.append(WHO_MAY_SEE)
    return lines


def what_the_plan_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from a plan."""
    return (
        "An even plan spreads the effects of order and site over the prototypes; it does not remove them.",
        "Nobody may apply a sample before the safety gate is open for its batch. A plan is no permission.",
        "Codes hide the prototypes only if containers, fill, colour and smell do not give them away.",
    )


def what_the_sizes_show(result: PanelSizes, names: Naming | None = None) -> list[str]:
    """Return how many people it takes to see the difference that matters, one line for each kind of comparison.

    `names` says on which scale the numbers are, and with how many decimals.
    """
    known = names or Naming()
    size, percent = format_number(result.difference, known.digits), format_share(result.power)
    size += f" ({known.scale})" if known.scale else ""
    return [
        f"To find a difference of {size} with a chance of {percent} {words}: {_fewest(result, comparison)}."
        for comparison, words in (
            (ALONE, "when it is planned beforehand"),
            (WITH_BENCHMARK, "among all differences from the benchmark"),
            (ALL_PAIRS, "among all pairs"),
        )
    ] + [_swap_line(result)]


def what_batches_buy(result: BatchNumbers) -> str:
    """Return in one sentence which split of the same servings finds the difference most often, beside one batch."""
    rows = result.rows
    one, best = rows.iloc[0], rows.sort_values("power", ascending=False, kind="stable").iloc[0]
    size = format_number(result.difference, 1)
    start = (
        f"If batches differ with a standard deviation of {format_number(result.batch_sd, 1)}, one batch of each scored "
        f"{_times(one['replicates'])} finds a difference of {size} with a chance of {format_share(one['power'])}"
    )
    if int(best["batches"]) == 1:
        return f"{start}; more batches at fewer replicates would not find it more often."
    return (
        f"{start}; {int(best['batches'])} batches of each scored {_times(best['replicates'])}, the same number of "
        f"servings, with a chance of {format_share(best['power'])}, and the study itself then shows how far batches "
        "differ."
    )


def _times(count: float) -> str:
    return "once" if int(count) == 1 else f"{int(count)} times"


def what_the_sizes_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from planned numbers."""
    return (
        "These numbers rest on scatter that is assumed, or estimated from another study than the one that is planned.",
        "A chance of 80 % means that one such difference in five is missed.",
        "More people make the mean more precise. They do not make one batch of each prototype stand for another batch.",
    )


def enough_answers_words(result: AnswerNumbers) -> str:
    """Return in one or two sentences how many answers are enough."""
    start = f"To show {result.question} with a chance of {format_share(result.power)}: {result.first:,d} answers"
    if result.first == result.always:
        return f"{start}."
    return (
        f"{start} are the first number that is enough. From {result.always:,d} on it is never missed again; between "
        "them one more person can lower the chance, because answers come in whole numbers."
    )


def _even(row: Mapping[Any, Any]) -> str:
    smallest, largest = row["smallest"], row["largest"]
    counts = f"{smallest}" if smallest == largest else f"{smallest} to {largest}"
    return f"{_KINDS[row['what']]}: {row['verdict']}, {counts} times each."


def _per_session(served: pd.DataFrame) -> str:
    sizes = served.groupby(["session", "assessor"]).size()
    low, high = int(sizes.min()), int(sizes.max())
    return f"{low}" if low == high else f"{low} to {high}"


def _fewest(result: PanelSizes, comparison: str) -> str:
    rows = result.needed.loc[result.needed["comparison"] == comparison]
    told = [
        f"{row['assessors']} assessors with {counted(int(row['replicates']), 'replicate')}"
        for row in rows.to_dict("records")
        if row["assessors"]
    ]
    if not told:
        return f"more than the {int(result.sizes['assessors'].max())} assessors tried here"
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} or {told[-1]}"


def _swap_line(result: PanelSizes) -> str:
    """Return how much smaller a swap effect may be than a difference of two prototypes."""
    row = result.sizes.iloc[-1]
    share = row["seen_swap"] / row["seen"]
    return (
        f"The effect of a swap made in several prototypes may be smaller: {format_share(share)} of what two prototypes "
        "must differ by is enough, because every prototype takes part in it."
    )


# Plans of prototypes as tables a person reads, and what a plan can and cannot tell apart.


def plan_table(plan: SwapPlan) -> pd.DataFrame:
    """Return one row per prototype and one column per swap: a cross where the swap is made."""
    letters = list(plan.swaps["letter"])
    crosses = {
        f"{letter}: {swap_words(swap)}": ["×" if made else "" for made in plan.prototypes[letter]]
        for letter, swap in zip(letters, plan.swaps["swap"], strict=True)
    }
    made = [text or "base" for text in plan.prototypes["made"]]
    return pd.DataFrame({"Prototype": list(plan.prototypes["prototype"]), "Swaps": made, **crosses}, dtype="str")


def plan_formulas_table(formulas: pd.DataFrame) -> pd.DataFrame:
    """Return one row per ingredient and one column per prototype, per cent by mass, with the sum below."""
    wide = formulas.pivot_table(index="ingredient", columns="prototype", values="percent", aggfunc="sum", sort=False)
    shown = {str(name): [_percent(value) for value in wide[name]] for name in wide.columns}
    shown = {name: [*cells, _percent(float(wide[name].sum()))] for name, cells in shown.items()}
    return pd.DataFrame({"Ingredient, %": [*map(str, wide.index), "Sum"], **shown}, dtype="str")


def plan_swaps_table(plan: SwapPlan) -> pd.DataFrame:
    """Return one row per swap: how much, how many matched pairs show it, and how far others blur it."""
    swaps = plan.swaps
    return pd.DataFrame(
        {
            "Swap": [f"{letter}: {swap_words(s)}" for letter, s in zip(swaps["letter"], swaps["swap"], strict=True)],
            "% of the formula": [format_number(value, 2) for value in swaps["percent"]],
            "Matched pairs": [f"{count:d}" for count in swaps["n_pairs"]],
            "Variance inflation": [format_number(value, 2) for value in swaps["variance_inflation"]],
        },
        dtype="str",
    )


def plan_sentences(plan: SwapPlan) -> tuple[str, ...]:
    """Return what the plan can tell apart, and the one prototype that would add most."""
    n, k = len(plan.prototypes), len(plan.swaps)
    told = [
        f"{n} prototypes for {k} {'swap' if k == 1 else 'swaps'}; their blends differ in {plan.n_moves} independent "
        f"{'way' if plan.n_moves == 1 else 'ways'}."
    ]
    if len(plan.aliases):
        groups = [" = ".join(group["effect"]) for _, group in plan.aliases.groupby("group")]
        told.append(
            f"Cannot be told apart ({k} letters for the swaps, two letters for what two do together): "
            f"{format_list(groups)}."
        )
    elif plan.kind == "full":
        told.append("Every swap, and what every two do together, can be told apart.")
    if len(plan.extra):
        told.append(_extra(plan))
    return tuple(told)


def mixture_table(plan: MixturePlan) -> pd.DataFrame:
    """Return one row per blend and one column per emollient, per cent of the formula."""
    shown = {
        str(name): [format_number(value, 2) for value in plan.blends[name]]
        for name in plan.blends.columns
        if name != "prototype"
    }
    return pd.DataFrame({"Prototype": list(plan.blends["prototype"]), **shown}, dtype="str")


def mixture_models_table(plan: MixturePlan) -> pd.DataFrame:
    """Return which mixture models the plan can carry."""
    return pd.DataFrame(
        {
            "Model": list(plan.models["model"]),
            "Terms": [f"{count:d}" for count in plan.models["terms"]],
            "Blends to spare": [format_number(float(count), 0) for count in plan.models["spare"]],
            "Enough": ["yes" if enough else "no" for enough in plan.models["enough"]],
        },
        dtype="str",
    )


def cautions_sentences(cautions: pd.DataFrame) -> tuple[str, ...]:
    """Return the usual cautions of the ingredients of a plan, each once, with the ingredients it concerns."""
    return tuple(
        f"{format_list(list(part['ingredient']))}: {words}" for words, part in cautions.groupby("words", sort=False)
    )


def _extra(plan: SwapPlan) -> str:
    best = plan.extra.iloc[0]
    frees = int(best["rank_gain"])
    teaches = f"sets {frees} more {'effect' if frees == 1 else 'effects'} free" if frees else "sharpens the effects"
    pairs = int(best["n_pairs"])
    adds = f" and makes {pairs} matched {'pair' if pairs == 1 else 'pairs'}" if pairs else ""
    return f"One prototype more would tell most with the swaps {best['made']}: it {teaches}{adds}."


def _percent(value: float) -> str:
    return NOTHING if pd.isna(value) or value == 0 else format_number(value, 2)


# Serving plans as tables a person reads: who gets what, the codes, how even it is, what is left out.


_WHAT = {
    "place": "How often each prototype stands at each position",
    "carry-over": "How often each prototype comes straight after each other one",
    "site": "How often each prototype goes to each site",
}


def servings_table(servings: pd.DataFrame, warm_up: str = "") -> pd.DataFrame:
    """Return one row per serving in the order of serving; prototypes and codes only where the frame has them."""
    columns = {"session": "Session", "assessor": "Assessor", "position": "Position"}
    columns |= {"code": "Code", "prototype": "Prototype", "site": "Site"}
    shown = servings[[name for name in columns if name in servings]].rename(columns=columns)
    shown["Position"] = [format_number(value, 0) for value in shown["Position"]]
    if "Site" in shown:
        shown["Site"] = [site or NOTHING for site in shown["Site"]]
    if warm_up and "prototype" in servings:
        shown["Remark"] = ["warm-up, not analysed" if name == warm_up else "" for name in servings["prototype"]]
    return shown.astype("str").reset_index(drop=True)


def tray_table(servings: pd.DataFrame, session: str) -> pd.DataFrame:
    """Return what stands on each assessor's tray in a session: one row each, the codes from first to last."""
    rows = servings.loc[servings["session"] == session].sort_values(["assessor", "position"], kind="stable")
    label = [f"{code} ({site})" if site else code for code, site in zip(rows["code"], rows["site"], strict=True)]
    wide = rows.assign(label=label).pivot_table(index="assessor", columns="position", values="label", aggfunc="first")
    wide = wide.fillna(NOTHING)
    wide.columns = [f"Position {format_number(float(place), 0)}" for place in wide.columns]
    return wide.rename_axis("Assessor").reset_index().astype("str")


def key_table(servings: pd.DataFrame) -> pd.DataFrame:
    """Return one row per prototype and one column per session: its code. Whoever sees it is no longer blind."""
    key = servings[["session", "prototype", "code"]].drop_duplicates()
    wide = key.pivot_table(index="prototype", columns="session", values="code", aggfunc="first").fillna(NOTHING)
    wide = wide[list(dict.fromkeys(key["session"]))].reindex(sorted(wide.index, key=_by_number))
    wide.columns = [f"Code in session {session}" for session in wide.columns]
    return wide.rename_axis("Prototype").reset_index().astype("str")


def balance_table(balance: ServingBalance) -> pd.DataFrame:
    """Return one row per thing that should be even: smallest and largest count, and how even that is."""
    rows = balance.summary
    return pd.DataFrame(
        {
            "What was counted": [_WHAT[what] for what in rows["what"]],
            "Where": [f"session {session}" if session else "all sessions" for session in rows["session"]],
            "Smallest": [f"{count:d}" for count in rows["smallest"]],
            "Largest": [f"{count:d}" for count in rows["largest"]],
            "In words": list(rows["verdict"]),
        },
        dtype="str",
    )


def places_table(balance: ServingBalance) -> pd.DataFrame:
    """Return how often each prototype (row) stands at each position of the order (column)."""
    counts = balance.positions.assign(
        position=[f"Position {format_number(p, 0)}" for p in balance.positions["position"]]
    )
    return _wide(counts, "position")


def carry_over_table(balance: ServingBalance) -> pd.DataFrame:
    """Return how often each prototype (row) comes straight after each other one (column)."""
    rows = balance.carry_over
    wide = _wide(rows.assign(after="After " + rows["after"]), "after")
    return wide[["Prototype", *(f"After {name}" for name in dict.fromkeys(rows["prototype"]))]]


def sites_table(balance: ServingBalance) -> pd.DataFrame:
    """Return how often each prototype (row) goes to each site (column)."""
    return _wide(balance.sites, "site")


def together_table(balance: ServingBalance) -> pd.DataFrame:
    """Return one row per two prototypes: who tries both, how often in one session, how precise their difference is."""
    rows = balance.together
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Assessors who try both": [f"{count:d}" for count in rows["assessors"]],
            "Sittings with both": [f"{count:d}" for count in rows["sessions"]],
            "Precision, of the complete plan": [
                format_share(min(share, 1.0), rounding=DOWN) for share in rows["share"]
            ],
        },
        dtype="str",
    )


def gaps_table(gaps: pd.DataFrame) -> pd.DataFrame:
    """Return one row per assessor and prototype that must not meet, and why."""
    columns = {"assessor": "Assessor", "prototype": "Does not get", "reason": "Why"}
    return gaps[list(columns)].rename(columns=columns).astype("str").reset_index(drop=True)


def _wide(counts: pd.DataFrame, across: str) -> pd.DataFrame:
    """Return counts with one row per prototype and one column per value, in the order they come."""
    if counts.empty:
        return pd.DataFrame({"Prototype": pd.Series(dtype="str")})
    wide = counts.pivot_table(index="prototype", columns=across, values="count", aggfunc="sum", sort=False)
    wide = wide.reindex(columns=list(dict.fromkeys(counts[across])))
    text = wide.map(lambda count: NOTHING if pd.isna(count) else f"{count:.0f}")
    text.columns = [str(name) for name in text.columns]
    return text.rename_axis("Prototype").reset_index().astype("str")


def _by_number(name: str) -> tuple[str, int]:
    """Return a key that puts P2 before P10."""
    digits = "".join(character for character in name if character.isdigit())
    return name.rstrip("0123456789"), int(digits or 0)


def _precision(shares: pd.Series) -> list[str]:
    """Return how precise each pair is; what favours the plan is never rounded up."""
    return [format_share(min(share, 1.0), rounding=DOWN) for share in shares]
