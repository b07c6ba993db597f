"""Plans of prototypes as tables a person reads, and what a plan can and cannot tell apart."""

from __future__ import annotations

import pandas as pd

from panel.plan.mixture_plan import MixturePlan
from panel.plan.swap_plan import SwapPlan
from panel.views.drawing.formats import NOTHING, format_list, format_number
from panel.views.emollients.swap_words import swap_words


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
