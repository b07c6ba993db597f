"""Formulas of prototypes that are not made yet: emollients replaced at equal mass, everything else frozen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from panel.errors import ModelError
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT, formula_lines
from panel.study.knowledge import canonical_ingredient, cautions, ingredients
from panel.study.study import Study
from panel.study.swaps import WATER

FORMULA_COLUMNS = ["prototype", "ingredient", "percent", "phase", "kind"]


@dataclass(frozen=True, slots=True)
class Swap:
    """One emollient replaced by another: `percent` % by mass of `removed` becomes the same mass of `added`."""

    removed: str
    added: str
    percent: float

    @property
    def label(self) -> str:
        """How the swap is called everywhere."""
        return f"{self.removed} -> {self.added}"


def base_formula(base: pd.DataFrame) -> pd.DataFrame:
    """Return a base (ingredient, percent, phase, kind) with INCI names and `emollient`, ready to be changed.

    Raises
    ------
    ModelError
        If it holds no emollient, or an amount is missing.
    """
    filled = base.assign(prototype="base", **{name: "" for name in ("phase", "kind") if name not in base})
    lines = formula_lines(Study({"formulas": filled})).drop(columns="prototype").reset_index(drop=True)
    if lines["percent"].isna().any():
        missing = ", ".join(lines.loc[lines["percent"].isna(), "ingredient"])
        raise ModelError(f"The base gives no amount of {missing}. Fill it in before planning swaps.")
    if not lines["emollient"].any():
        raise ModelError("The base holds no emollient, so there is nothing to swap. Write 'emollient' as its kind.")
    return lines


def known_swap(swap: Swap, base: pd.DataFrame) -> Swap:
    """Return the swap with INCI names; ModelError if it is no swap of emollients at equal mass in this base."""
    removed, added = (canonical_ingredient(name) or name.strip() for name in (swap.removed, swap.added))
    held = base.loc[base["ingredient"] == removed]
    if WATER in (removed, added):
        raise ModelError(
            f"{removed} -> {added} would let water take up the difference: the emollient total would change together "
            "with the kind of emollient, and nobody could tell the two apart. Swap emollients at equal mass."
        )
    if held.empty or not held["emollient"].all():
        raise ModelError(
            f"{removed} is not an emollient of the base. Only emollients are swapped; emulsifiers, structurants and "
            f"the rest stay as they are. Its emollients: {', '.join(base.loc[base['emollient'], 'ingredient'])}."
        )
    if not swap.percent > 0 or swap.percent > held["percent"].sum() + FLOAT_SLACK:
        raise ModelError(
            f"{swap.percent:g} % of {removed} cannot be replaced: the base holds {held['percent'].sum():g} %. "
            "Give an amount above zero and no more than that."
        )
    if removed == added:
        raise ModelError(f"{removed} cannot be swapped for itself.")
    _require_emollient(added, base)
    return Swap(removed, added, swap.percent)


def _require_emollient(added: str, base: pd.DataFrame) -> None:
    """Refuse an ingredient that is known, or stands in the base, as something else than an emollient."""
    known = ingredients()
    kinds = {*known.loc[known["ingredient"] == added, "kind"], *base.loc[base["ingredient"] == added, "kind"]} - {""}
    if kinds and "emollient" not in kinds:
        raise ModelError(
            f"{added} is known as {' and '.join(sorted(kinds))}, not as an emollient. Adding it would change the base "
            "and the blend together; choose an emollient."
        )


def with_swaps(base: pd.DataFrame, swaps: Sequence[Swap]) -> pd.DataFrame:
    """Return the lines of the base (ingredient percent phase kind) with these swaps made.

    ModelError if the swaps together take more of an emollient than the base holds.
    """
    percent = {str(name): float(part["percent"].sum()) for name, part in base.groupby("ingredient", sort=False)}
    first = base.drop_duplicates("ingredient")
    about = dict(zip(first["ingredient"], zip(first["phase"], first["kind"], strict=True), strict=True))
    held = dict(percent)
    for swap in swaps:
        percent[swap.removed] = round(percent[swap.removed] - swap.percent, 6)
        if percent[swap.removed] < -SAME_AMOUNT:
            raise ModelError(
                f"The swaps take more {swap.removed} than the base holds ({held.get(swap.removed, 0.0):g} %). Give "
                "each its own part of it."
            )
        about.setdefault(swap.added, (about[swap.removed][0], "emollient"))
        percent[swap.added] = round(percent.get(swap.added, 0.0) + swap.percent, 6)
    rows = [(name, amount, *about[name]) for name, amount in percent.items() if amount > SAME_AMOUNT]
    return pd.DataFrame(rows, columns=FORMULA_COLUMNS[1:])


def with_emollients(base: pd.DataFrame, amounts: Mapping[str, float]) -> pd.DataFrame:
    """Return the lines of the base with its emollients replaced by these amounts (per cent by mass)."""
    emollients = base.loc[base["emollient"]]
    phase = str(emollients["phase"].iloc[0])
    phases = dict(zip(emollients["ingredient"], emollients["phase"], strict=True))
    made = [(name, amount, phases.get(name, phase), "emollient") for name, amount in amounts.items() if amount > 0]
    rest = base.loc[~base["emollient"], FORMULA_COLUMNS[1:]]
    return pd.concat([rest, pd.DataFrame(made, columns=FORMULA_COLUMNS[1:])], ignore_index=True)


def formulas_of(prototypes: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the lines of several prototypes as a table `formulas`."""
    stacked = pd.concat([lines.assign(prototype=name) for name, lines in prototypes.items()], ignore_index=True)
    text = dict.fromkeys(("prototype", "ingredient", "phase", "kind"), "str")
    return stacked[FORMULA_COLUMNS].astype({**text, "percent": "float64"})


def called_cautions(names: Sequence[str]) -> pd.DataFrame:
    """Return the usual cautions that these ingredients call for: ingredient, caution, words."""
    known = ingredients().set_index("ingredient")["cautions"]
    words = cautions().set_index("caution")["words"]
    rows = [
        (name, tag.strip(), str(words[tag.strip()]))
        for name in names
        if name in known.index
        for tag in str(known[name]).split(";")
        if tag.strip()
    ]
    return pd.DataFrame(rows, columns=["ingredient", "caution", "words"], dtype="str")
