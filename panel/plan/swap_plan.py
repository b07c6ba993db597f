"""Which prototypes to make, so that the effects of emollient swaps can be told apart?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from string import ascii_uppercase
from typing import Literal

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.stats.arrays import Whole
from panel.stats.formulas.composition import EXACT_ALIAS_THRESHOLD, alias_groups, independent_moves
from panel.stats.formulas.mixtures import effect_columns, information_gain, two_level_runs, variance_inflation
from panel.study.formulas import (
    FLOAT_SLACK,
    SAME_AMOUNT,
    WATER,
    blend_rounding,
    canonical_ingredient,
    emollient_blend,
    formula_lines,
    ingredient_tags,
    ingredients,
    matched_pairs,
)
from panel.study.knowledge import shared_table
from panel.study.study import Study

SwapKind = Literal["full", "half", "one at a time"]
MOST_SWAPS = 6


@dataclass(frozen=True, eq=False, slots=True)
class SwapPlan:
    """A plan of prototypes, each the base with some swaps made.

    Parameters
    ----------
    prototypes
        `prototype made` and one column per letter (0 without the swap, 1 with it); `made` is such as `AC`.
    formulas
        The formulas as a study has them: `prototype ingredient percent phase kind`.
    swaps
        `letter swap removed added percent n_pairs variance_inflation`.
    n_moves
        How many independent directions the blends differ in.
    aliases
        Effects that move together: `group effect sign`, effects by their letters, two letters being an interaction.
    extra
        Prototypes that could be added, the best first: `made rank_gain gain n_pairs`. The gain is that of log det X'X
        for swaps and their interactions in twos; `rank_gain` counts the effects it sets free.
    cautions
        Usual cautions: `ingredient caution words`.
    """

    kind: SwapKind
    prototypes: pd.DataFrame
    formulas: pd.DataFrame
    swaps: pd.DataFrame
    n_moves: int
    aliases: pd.DataFrame
    extra: pd.DataFrame
    cautions: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def plan_swaps(base: pd.DataFrame, swaps: Sequence[Swap], kind: SwapKind = "full") -> SwapPlan:
    """Plan the prototypes for these swaps in this base.

    Parameters
    ----------
    base
        Lines of a formula: ingredient, percent, phase, kind; `panel.study.formulas.formula` gives them.
    kind
        `full`: every combination; `half`: half of them; `one at a time`: the base and each swap alone.

    Raises
    ------
    ModelError
        If a swap is none (no emollient, more than the base holds, water topping up), if there are none, too many or
        too few for the plan, or one is given twice.
    """
    lines = base_formula(base)
    known = [_known_swap(swap, lines) for swap in swaps]
    _ask(known, kind)
    runs = two_level_runs(len(known), kind)
    names = [f"P{run + 1}" for run in range(len(runs))]
    prototypes = pd.DataFrame({"prototype": pd.Series(names, dtype="str"), "made": _letters(runs)})
    letters = list(ascii_uppercase[: len(known)])
    prototypes[letters] = runs
    formulas = formulas_of(
        {
            name: _with_swaps(lines, [swap for swap, made in zip(known, run, strict=True) if made])
            for name, run in zip(names, runs, strict=True)
        }
    )
    planned = _planned_study(prototypes, formulas)
    aliases = _aliases(runs)
    table = _swaps(known, runs, planned)
    return SwapPlan(
        kind=kind,
        prototypes=prototypes,
        formulas=formulas,
        swaps=table,
        n_moves=independent_moves(emollient_blend(planned).to_numpy(), blend_rounding(planned)),
        aliases=aliases,
        extra=_extra(runs),
        cautions=called_cautions(list(dict.fromkeys(name for swap in known for name in (swap.removed, swap.added)))),
        method=_method(kind, len(known), len(runs)),
        notes=tuple(_notes(known, table, aliases)),
    )


def _planned_study(prototypes: pd.DataFrame, formulas: pd.DataFrame) -> Study:
    """Return a study with the prototypes and formulas of a plan, the first one as benchmark, and nothing scored."""
    role = np.where(np.arange(len(prototypes)) == 0, "benchmark", "prototype")
    made = prototypes["made"].replace("", "base") if "made" in prototypes else prototypes["prototype"]
    listed = pd.DataFrame({"prototype": prototypes["prototype"], "name": made, "role": role, "note": ""}, dtype="str")
    return Study({"prototypes": listed, "formulas": formulas})


def _ask(swaps: Sequence[Swap], kind: SwapKind) -> None:
    if not swaps:
        raise ModelError("No swap was given. Name at least one emollient to replace, and by what.")
    if len(swaps) > MOST_SWAPS:
        raise ModelError(
            f"{len(swaps)} swaps need too many prototypes for a small panel; plan at most {MOST_SWAPS} at once."
        )
    if kind == "half" and len(swaps) < 3:
        raise ModelError("Half of a plan needs at least three swaps; with fewer it could not tell them apart.")
    ends = [(swap.removed, swap.added) for swap in swaps]
    if len(set(ends)) < len(ends):
        raise ModelError("A swap is given twice. Give each swap once; a different amount of it is another plan.")


def _letters(runs: Whole) -> pd.Series:
    made = ["".join(letter for letter, on in zip(ascii_uppercase, run, strict=False) if on) for run in runs]
    return pd.Series(made, dtype="str")


def _swaps(swaps: Sequence[Swap], runs: Whole, planned: Study) -> pd.DataFrame:
    pairs = matched_pairs(planned)
    ends = [{swap.removed, swap.added} for swap in swaps]
    rows = [({removed, added}) for removed, added in zip(pairs["removed"], pairs["added"], strict=True)]
    return pd.DataFrame(
        {
            "letter": pd.Series(list(ascii_uppercase[: len(swaps)]), dtype="str"),
            "swap": pd.Series([swap.label for swap in swaps], dtype="str"),
            "removed": pd.Series([swap.removed for swap in swaps], dtype="str"),
            "added": pd.Series([swap.added for swap in swaps], dtype="str"),
            "percent": [float(swap.percent) for swap in swaps],
            "n_pairs": [rows.count(both) for both in ends],
            "variance_inflation": variance_inflation(runs),
        }
    )


def _aliases(runs: Whole) -> pd.DataFrame:
    """Return the swaps and interactions in twos that always change together."""
    effects, columns = effect_columns(runs)
    group, sign = alias_groups(columns, EXACT_ALIAS_THRESHOLD)
    names = ["".join(ascii_uppercase[factor] for factor in effect) for effect in effects]
    order = np.argsort(group, kind="stable")
    order = order[group[order] >= 0]
    return pd.DataFrame(
        {
            "group": group[order] + 1,
            "effect": pd.Series([names[place] for place in order], dtype="str"),
            "sign": sign[order],
        }
    )


def _extra(runs: Whole) -> pd.DataFrame:
    """Return the combinations of swaps that the plan leaves out, the one that tells most first."""
    every = two_level_runs(runs.shape[1])
    made = {tuple(run) for run in runs}
    left = np.array([run for run in every if tuple(run) not in made], dtype=np.int64).reshape(-1, runs.shape[1])
    columns = ["made", "rank_gain", "gain", "n_pairs"]
    if not len(left):
        return pd.DataFrame({"made": pd.Series(dtype="str"), **{name: pd.Series(dtype=float) for name in columns[1:]}})
    rank_gain, gain = information_gain(_model(runs), _model(left))
    n_pairs = (np.abs(left[:, None] - runs[None]).sum(axis=2) == 1).sum(axis=1)
    frame = pd.DataFrame({"made": _letters(left), "rank_gain": rank_gain, "gain": gain.round(9), "n_pairs": n_pairs})
    order = frame.assign(size=left.sum(axis=1)).sort_values(
        ["rank_gain", "gain", "n_pairs", "size"], ascending=[False, False, False, True], kind="stable"
    )
    return order[columns].reset_index(drop=True)


def _model(runs: Whole) -> np.ndarray:
    _, columns = effect_columns(runs)
    return np.column_stack([np.ones(len(runs)), columns])


def _method(kind: SwapKind, k: int, n: int) -> str:
    how = {
        "full": f"every combination of {k} swaps" if k > 1 else "with the swap and without it",
        "half": f"half of the combinations of {k} swaps, those with an even number of them",
        "one at a time": f"the base and each of {k} swaps alone",
    }[kind]
    return (
        f"{n} prototypes: {how}. Each swap replaces one emollient by another at equal mass; the emollient total and "
        "everything that is no emollient stay as in the base. What one more prototype would tell is weighed by the "
        "determinant of the design, for swaps and their interactions in twos."
    )


def _notes(swaps: Sequence[Swap], table: pd.DataFrame, aliases: pd.DataFrame) -> list[str]:
    notes = [
        "Make a second batch of the base, or serve it twice under two codes: it is the cheapest check of how much of a "
        "difference is the luck of a batch."
    ]
    if (table["n_pairs"] == 0).any():
        notes.append(
            "No two prototypes of this plan differ by one swap only, so effects will rest on the differences between "
            "prototypes, not on matched pairs judged in one sitting."
        )
    single = table.loc[table["n_pairs"] == 1, "swap"]
    if len(single):
        notes.append(f"Each rests on one pair of prototypes, and no interaction can be seen: {'; '.join(single)}.")
    for _, group in aliases.groupby("group"):
        notes.append(f"Cannot be told apart: {' = '.join(group['effect'])}.")
    return [*notes, *_shared(swaps), *_solids(swaps)]


def _shared(swaps: Sequence[Swap]) -> list[str]:
    """Name swaps that touch the same emollient, so that their mass is added up."""
    touching = [
        f"{one.label} and {other.label}"
        for one, other in combinations(swaps, 2)
        if {one.removed, one.added} & {other.removed, other.added}
    ]
    return [f"Share an emollient, so that its amount takes more than two levels: {'; '.join(touching)}."] * bool(
        touching
    )


def _solids(swaps: Sequence[Swap]) -> list[str]:
    """Name swaps between a liquid and a solid emollient."""
    solid = shared_table("emollients").set_index("ingredient")["solid"]
    across = [
        swap.label
        for swap in swaps
        if {swap.removed, swap.added} <= set(solid.index) and solid[swap.removed] != solid[swap.added]
    ]
    return [
        f"Between a liquid and a solid, so viscosity and structure of the cream change as well: {'; '.join(across)}. "
        "Measure the viscosity of every batch."
    ] * bool(across)


# On which day should each prototype be made, so that no swap goes with a day?


_DRAWS = 500


def making_days(prototypes: pd.DataFrame, per_day: int, rng: np.random.Generator) -> pd.DataFrame:
    """Return `day turn prototype`: a random order of making in which swaps are spread over the days as evenly as found.

    Parameters
    ----------
    prototypes
        `prototype` and one column of 0 and 1 per swap, as a plan has them.
    per_day
        How many can be made on one day.
    rng
        Source of the order; of 500 random orders the one is taken in which the swaps go least with the days.

    Raises
    ------
    ModelError
        If fewer than one prototype is made on a day.
    """
    if per_day < 1:
        raise ModelError(f"{per_day} prototypes a day is none; give at least 1.")
    made = prototypes.drop(columns=["prototype", "made"], errors="ignore").to_numpy(dtype=float)
    n = len(prototypes)
    day = np.arange(n) // per_day
    orders = rng.permuted(np.tile(np.arange(n), (_DRAWS, 1)), axis=1)
    order = orders[int(np.argmin([_unevenness(made[drawn], day) for drawn in orders]))]
    turn = np.arange(n) - day * per_day
    names = prototypes["prototype"].to_numpy()[order]
    return pd.DataFrame({"day": day + 1, "turn": turn + 1, "prototype": pd.Series(names, dtype="str")})


def _unevenness(made: np.ndarray, day: np.ndarray) -> float:
    """Return the sum of squares between days of the swaps: zero if each day has the same share of every swap."""
    counts = np.bincount(day)
    sums = np.zeros((counts.size, made.shape[1]))
    np.add.at(sums, day, made - made.mean(axis=0))
    return float((sums**2 / counts[:, None]).sum())


# Formulas of prototypes that are not made yet: emollients replaced at equal mass, everything else frozen.


_FORMULA_COLUMNS = ["prototype", "ingredient", "percent", "phase", "kind"]


@dataclass(frozen=True, slots=True)
class Swap:
    """One emollient replaced by another: `percent` % by mass of `removed` becomes the same mass of `added`."""

    removed: str
    added: str
    percent: float

    @property
    def label(self) -> str:
        """How the swap is called everywhere."""
        return f"{self.removed} → {self.added}"


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


def _known_swap(swap: Swap, base: pd.DataFrame) -> Swap:
    """Return the swap with INCI names; ModelError if it is no swap of emollients at equal mass in this base."""
    removed, added = (canonical_ingredient(name) or name.strip() for name in (swap.removed, swap.added))
    held = base.loc[base["ingredient"] == removed]
    if WATER in (removed, added):
        raise ModelError(
            f"{removed} → {added} would let water take up the difference: the emollient total would change together "
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


def _with_swaps(base: pd.DataFrame, swaps: Sequence[Swap]) -> pd.DataFrame:
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
    return pd.DataFrame(rows, columns=_FORMULA_COLUMNS[1:])


def with_emollients(base: pd.DataFrame, amounts: Mapping[str, float]) -> pd.DataFrame:
    """Return the lines of the base with its emollients replaced by these amounts (per cent by mass)."""
    emollients = base.loc[base["emollient"]]
    phase = str(emollients["phase"].iloc[0])
    phases = dict(zip(emollients["ingredient"], emollients["phase"], strict=True))
    made = [(name, amount, phases.get(name, phase), "emollient") for name, amount in amounts.items() if amount > 0]
    rest = base.loc[~base["emollient"], _FORMULA_COLUMNS[1:]]
    return pd.concat([rest, pd.DataFrame(made, columns=_FORMULA_COLUMNS[1:])], ignore_index=True)


def formulas_of(prototypes: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the lines of several prototypes as a table `formulas`."""
    stacked = pd.concat([lines.assign(prototype=name) for name, lines in prototypes.items()], ignore_index=True)
    text = dict.fromkeys(("prototype", "ingredient", "phase", "kind"), "str")
    return stacked[_FORMULA_COLUMNS].astype({**text, "percent": "float64"})


def called_cautions(names: Sequence[str]) -> pd.DataFrame:
    """Return the usual cautions that these ingredients call for: ingredient, caution, words."""
    words = shared_table("cautions").set_index("caution")["words"]
    rows = [(name, tag, str(words[tag])) for name in names for tag in ingredient_tags(name, "cautions")]
    return pd.DataFrame(rows, columns=["ingredient", "caution", "words"], dtype="str")
