"""What the blend of each prototype is like (viscosity, spreading, families and so on), and which swaps they hold."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.stats.arrays import Array
from panel.stats.formulas.composition import (
    EXACT_ALIAS_THRESHOLD,
    alias_groups,
    harmonic_mean,
    independent_moves,
    smallest_present,
    weighted_mean,
    weighted_spread,
)
from panel.study.formulas import (
    SAME_AMOUNT,
    canonical_ingredient,
    emollient_blend,
    emollient_value,
    formula_totals,
    ingredient_tags,
    own_measurement,
    swap_table,
)
from panel.study.knowledge import shared_table
from panel.study.study import Study, kept

# A spreading value below the first limit is slow, above the second fast, mm2 in 10 min. Published limits disagree
# (300 and 1000, or 500 and 1000), so both are shown.
SPREADING_LIMITS = ((300.0, 1000.0), (500.0, 1000.0))
# Below this covered mass, per cent, a figure is marked weak.
_WEAK_COVERAGE = 80.0
_WORDS = {
    "spreading_whole": "spreading of the whole blend",
    "spreading_liquids": "spreading of the liquids",
    "spreading_breadth": "breadth of spreading",
    "log10_viscosity_liquids": "viscosity of the liquids",
    "surface_tension_lowest": "lowest surface tension",
    "interfacial_tension": "interfacial tension with water",
    "molar_mass_by_mass": "mean molar mass by mass",
    "molar_mass_by_number": "mean molar mass by number",
    "viscosity_mpa_s": "viscosity",
    "spreading_mm2_10min": "spreading",
    "surface_tension_mn_m": "surface tension",
    "interfacial_tension_mn_m": "interfacial tension",
    "molar_mass_g_mol": "molar mass",
}
_Figures = tuple[Array, Array, Array]
_Average = Callable[[Array, Array], Array]
_Descriptor = tuple[str, _Average, Array, NDArray[np.bool_], NDArray[np.bool_]]
"""Its name, how it averages, the values, over which ingredients (a mask), and where memory stands in."""


@dataclass(frozen=True, eq=False, slots=True)
class BlendDescriptors:
    """Descriptors of the blends.

    Parameters
    ----------
    values
        One row per prototype and descriptor: `prototype descriptor value coverage weak from_memory`. Coverage is the
        per cent of the mass concerned whose value is known, from_memory the per cent whose value is from memory.
    wide
        The values alone, index prototype, columns descriptor.
    sound
        Names of the descriptors that are weak for no prototype.
    own
        The user's own measurements used in place of table values.
    """

    values: pd.DataFrame
    wide: pd.DataFrame
    sound: tuple[str, ...]
    own: pd.DataFrame
    method: str
    notes: tuple[str, ...]


NO_BLEND = (
    "No prototype has a complete formula with an emollient. Add the table formulas, one row per ingredient and "
    "prototype: prototype, ingredient (INCI), percent, kind (emollient ...)."
)


@kept
def find_descriptors(study: Study) -> BlendDescriptors:
    """Compute the descriptors of every blend of `study`; ModelError if no prototype has a complete formula.

    Shares are per cent of the blend, the emollient total is per cent of the formula. A solid is never given a
    viscosity and spreads by zero. Averages run over the mass with a known value; shares count only what is known to
    belong.
    """
    blend = emollient_blend(study)
    if blend.empty:
        raise ModelError(NO_BLEND)
    known, own = _blend_values(study, tuple(blend.columns))
    total = formula_totals(study).set_index("prototype").loc[blend.index, "emollient_total"]
    figures = {"emollient_total": (total.to_numpy(), np.full(len(blend), 100.0), np.zeros(len(blend)))}
    weights = blend.to_numpy()
    figures |= {each[0]: _figures(weights, each) for each in _descriptors(known)}
    wide = pd.DataFrame({name: figure[0] for name, figure in figures.items()}, index=blend.index)
    values = _long(wide, figures)
    weak = set(values.loc[values["weak"], "descriptor"])
    return BlendDescriptors(
        values=values,
        wide=wide,
        sound=tuple(name for name in figures if name not in weak),
        own=own,
        method=_METHOD,
        notes=(*_on_materials(blend, known), *_on_figures(values), *_on_own(own), *_ALWAYS),
    )


def _figures(weights: Array, descriptor: _Descriptor) -> _Figures:
    """Return the descriptor of each blend, its coverage and the share from memory, the latter two in per cent."""
    _, average, values, concerned, from_memory = descriptor
    mass, values = weights[:, concerned], values[concerned]
    known = ~np.isnan(values)
    coverage, memory = (weighted_mean(mass, part.astype(float)) for part in (known, from_memory[concerned] & known))
    return average(mass, values), 100 * coverage, 100 * memory


def _long(wide: pd.DataFrame, figures: dict[str, _Figures]) -> pd.DataFrame:
    """Return one row per descriptor and prototype."""
    value, coverage, from_memory = (np.concatenate(column) for column in zip(*figures.values(), strict=True))
    return pd.DataFrame(
        {
            "prototype": pd.Series(list(wide.index) * len(figures), dtype="str"),
            "descriptor": pd.Series(np.repeat(list(figures), len(wide)), dtype="str"),
            "value": value,
            "coverage": coverage,
            "weak": ~(coverage >= _WEAK_COVERAGE),
            "from_memory": from_memory,
        }
    )


def _descriptors(known: pd.DataFrame) -> Iterator[_Descriptor]:
    """Yield every descriptor in the order in which they are shown."""
    yield from _of_spreading(known)
    yield from _of_liquids(known)
    everything = np.ones(len(known), dtype=bool)
    molar_mass, memory = _known(known, "molar_mass_g_mol")
    yield ("molar_mass_by_mass", weighted_mean, molar_mass, everything, memory)
    yield ("molar_mass_by_number", harmonic_mean, molar_mass, everything, memory)
    for name in ("volatile", "solid"):
        values, memory = _known(known, name)
        yield (f"{name}_share", _share, 100 * values, everything, memory)
    yield from _of_structure(known)


def _of_liquids(known: pd.DataFrame) -> Iterator[_Descriptor]:
    """Yield viscosity and tensions; what is not known to be solid counts as liquid."""
    liquid = known["solid"].to_numpy() != 1
    everything = np.ones(liquid.size, dtype=bool)
    viscosity, memory = _known(known, "viscosity_mpa_s")
    with np.errstate(divide="ignore"):
        yield ("log10_viscosity_liquids", weighted_mean, np.log10(viscosity), liquid, memory)
    surface, memory = _known(known, "surface_tension_mn_m")
    yield ("surface_tension", weighted_mean, surface, everything, memory)
    yield ("surface_tension_lowest", smallest_present, surface, everything, memory)
    between, memory = _known(known, "interfacial_tension_mn_m")
    yield ("interfacial_tension", weighted_mean, between, everything, memory)


def _of_spreading(known: pd.DataFrame) -> Iterator[_Descriptor]:
    """Yield spreading of the whole blend (solids at zero) and of the liquids, its breadth, the shares of classes."""
    solid = known["solid"].to_numpy() == 1
    everything = np.ones(solid.size, dtype=bool)
    values, memory = _known(known, "spreading_mm2_10min")
    spreading = np.where(solid, 0.0, values)
    yield ("spreading_whole", weighted_mean, spreading, everything, memory & ~solid)
    yield ("spreading_liquids", weighted_mean, spreading, ~solid, memory)
    with np.errstate(divide="ignore"):
        yield ("spreading_breadth", weighted_spread, np.log10(spreading), ~solid, memory)
    for low, high in SPREADING_LIMITS:
        classes = {
            "fast": spreading > high,
            "medium": (spreading >= low) & (spreading <= high),
            "slow": (spreading < low) & ~solid,
        }
        for name, member in classes.items():
            share = np.where(np.isnan(spreading), np.nan, 100.0 * member)
            yield (f"{name}_share_{low:g}_{high:g}", _share, share, everything, memory & ~solid)


def _of_structure(known: pd.DataFrame) -> Iterator[_Descriptor]:
    """Yield the share of each chemical family that occurs, and of structures with a carbon-carbon double bond."""
    everything, nothing = np.ones(len(known), dtype=bool), np.zeros(len(known), dtype=bool)
    families = known["family"].to_numpy(dtype=object)
    unknown = families == ""
    for family in dict.fromkeys(families[~unknown]):
        share = np.where(unknown, np.nan, 100.0 * (families == family))
        yield (f"{str(family).replace(' ', '_')}_share", _share, share, everything, nothing)
    drawn = known["smiles"].to_numpy(dtype=object) != ""
    double_bond = np.array(["C=C" in smiles for smiles in known["smiles"]], dtype=float)
    share = np.where(drawn, 100.0 * double_bond, np.nan)
    yield ("unsaturated_share", _share, share, everything, nothing)


def _share(weights: Array, percent: Array) -> Array:
    """Return the per cent of the whole blend that is known to belong, what is unknown counting as not."""
    return weighted_mean(weights, np.nan_to_num(percent))


_METHOD = (
    "Mass-weighted means over the emollient part of the formula: viscosity as the mean of its decimal logarithm over "
    "the liquids (ideal mixing, 25 °C), spreading of the whole blend with solids at zero, molar mass by mass and by "
    f"number. Spreading classes end at {' and '.join(f'{low:g} / {high:g}' for low, high in SPREADING_LIMITS)} mm2 in "
    f"10 min. Figures with less than {_WEAK_COVERAGE:g} % of the mass covered are marked weak."
)


# What to know before trusting the descriptors of a blend.


_ALWAYS = (
    "Branching is left out: it cannot be read from a structure without a chemistry library. Unsaturation is read from "
    "the structure, which natural oils, butters and mixtures do not have.",
    "Interfacial tension only ranks materials: published values of one material differ by half.",
)


def descriptor_words(descriptor: str) -> str:
    """Return a descriptor of a blend, or a property of an emollient, in words."""
    parts = descriptor.split("_")
    if len(parts) == 4 and parts[1] == "share":
        return f"{parts[0]}-spreading share (limits {parts[2]} and {parts[3]})"
    return _WORDS.get(descriptor, " ".join(parts))


def listed_descriptors(descriptors: Iterable[str]) -> str:
    """Return descriptors in words, one after the other, each once whatever the limits of its classes."""
    return ", ".join(dict.fromkeys(descriptor_words(name).split(" (limits")[0] for name in descriptors))


def _on_materials(blend: pd.DataFrame, known: pd.DataFrame) -> Iterator[str]:
    names = np.asarray(blend.columns, dtype=object)
    unknown = names[(known["family"] == "").to_numpy()]
    if unknown.size:
        yield (
            f"Not in the emollient table: {', '.join(unknown)}. What is not known of them lowers the coverage; add "
            "own values in the table ingredient_values."
        )
    stand_ins = names[((known["structure"] != "the substance") & known["molar_mass_g_mol"].notna()).to_numpy()]
    if stand_ins.size:
        yield f"Molar mass is that of one substance standing for a mixture: {', '.join(stand_ins)}."
    amounts = blend.to_numpy()
    solid = known["solid"].to_numpy() == 1
    if solid.any() and np.ptp(amounts[:, solid].sum(axis=1)) > 0:
        yield (
            "The solid share differs between the prototypes. Figures of the liquids alone can then say 'lighter' where "
            "the cream is richer: read the whole-blend spreading and the solid share first."
        )


def _on_figures(values: pd.DataFrame) -> Iterator[str]:
    weak = list(dict.fromkeys(values.loc[values["weak"], "descriptor"]))
    if weak:
        yield f"Weak, because values are missing for much of the mass of some prototype: {listed_descriptors(weak)}."
    memory = list(dict.fromkeys(values.loc[values["from_memory"] > 0, "descriptor"]))
    if memory:
        yield (
            "Rests at least in part on values from memory, not on a source that was read: "
            f"{listed_descriptors(memory)}. Measure or cite before quoting them."
        )


def _on_own(own: pd.DataFrame) -> Iterator[str]:
    if len(own):
        named = ", ".join(f"{descriptor_words(str(row.property))} of {row.ingredient}" for row in own.itertuples())
        yield f"Own measurements came before table values: {named}."


# The values of the emollients in a study's blends, and where each of them comes from.


_FROM_MEMORY = "from memory"
# So says the table where a structure only illustrates a natural oil: its molar mass must not enter a calculation.
_USED_PROPERTIES = (
    "viscosity_mpa_s",
    "spreading_mm2_10min",
    "surface_tension_mn_m",
    "interfacial_tension_mn_m",
    "molar_mass_g_mol",
    "volatile",
    "solid",
)


def _known(known: pd.DataFrame, name: str) -> tuple[Array, NDArray[np.bool_]]:
    """Return the values of a property of the emollients, and where they are from memory."""
    return known[name].to_numpy(dtype=float), known[f"{name} {_FROM_MEMORY}"].to_numpy(dtype=bool)


def _blend_values(study: Study, ingredients: tuple[str, ...]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return what is known of `ingredients`, the study's own measurements before the shared table, and the latter.

    Columns of the first: each property (NaN unknown) and whether its source is memory (`_known` gives both), and
    `family smiles structure`, the last what the structure stands for, empty where unknown. Of the second: `ingredient
    property value table_value measured_on method`.
    """
    table = shared_table("emollients").set_index("ingredient").reindex(list(ingredients))
    values = {name: table[name].to_numpy(dtype=float).copy() for name in _USED_PROPERTIES}
    sources = {name: table.get(f"{name}_source", table["words_source"]) for name in _USED_PROPERTIES}
    from_memory = {
        name: source.str.contains(_FROM_MEMORY, na=False).to_numpy(dtype=bool).copy()
        for name, source in sources.items()
    }
    structure = table["structure_is"].fillna("")
    values["molar_mass_g_mol"][structure.str.contains("for illustration").to_numpy(bool)] = np.nan
    rows = []
    measured_ones = set(study.table("ingredient_values")["property"])
    for name in filter(measured_ones.__contains__, _USED_PROPERTIES):
        for place, ingredient in enumerate(ingredients):
            if measured := own_measurement(study.table("ingredient_values"), ingredient, name):
                value, measured_on, method = measured
                rows.append((ingredient, name, value, values[name][place], measured_on, method))
                values[name][place], from_memory[name][place] = value, False
    words = {"family": table["family"].fillna(""), "smiles": table["smiles"].fillna(""), "structure": structure}
    memory = {f"{name} {_FROM_MEMORY}": marks for name, marks in from_memory.items()}
    return pd.DataFrame({**values, **memory, **words}, index=table.index), _own_frame(rows)


def _own_frame(rows: list[tuple[str, str, float, float, str, str]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["ingredient", "property", "value", "table_value", "measured_on", "method"])
    text = dict.fromkeys(("ingredient", "property", "measured_on", "method"), "str")
    return frame.astype({**text, "value": "float64", "table_value": "float64"})


# What to mind in practice before making a blend: solids, volatiles, allergens, cautions, cost.


COST = "cost"
# A share that differs by less than this many per cent of the blend is the same.
_SAME_SHARE = 0.5


def blend_warnings(study: Study, blend: Mapping[str, float], base: Mapping[str, float]) -> pd.DataFrame:
    """Return `kind value versus about words`, one row per thing to mind about `blend` (per cent of the formula).

    `solid` and `volatile`: share of the emollient part in per cent, and that of the base. `cost`: of the emollients in
    100 units of formula, and that of the base, where the study gives the cost of all of them (table ingredient_values,
    property cost, per unit of mass). `assessors`: who must avoid one of the ingredients. `caution`: the usual words.
    """
    rows = [*_shares(study, blend, base), *_cost(study, blend, base), *_assessors(study, blend), *_cautions(blend)]
    frame = pd.DataFrame(rows, columns=["kind", "value", "versus", "about", "words"])
    return frame.astype({"kind": "str", "value": "float64", "versus": "float64", "about": "str", "words": "str"})


def _shares(study: Study, blend: Mapping[str, float], base: Mapping[str, float]) -> Iterator[tuple[object, ...]]:
    for name in ("solid", "volatile"):
        share, versus = (_blend_warnings_share(study, part, name) for part in (blend, base))
        if share > 0 or versus - share > _SAME_SHARE:
            about = [
                one
                for one, amount in blend.items()
                if amount > 0 and emollient_value(study.table("ingredient_values"), one, name) > 0
            ]
            yield (name, share, versus, ", ".join(about), "")


def _blend_warnings_share(study: Study, blend: Mapping[str, float], name: str) -> float:
    """Return the per cent of the blend that is solid or volatile; what is not known counts as neither."""
    marked = sum(
        amount * float(np.nan_to_num(emollient_value(study.table("ingredient_values"), one, name)))
        for one, amount in blend.items()
        if amount > 0
    )
    return 100 * marked / sum(blend.values())


def _cost(study: Study, blend: Mapping[str, float], base: Mapping[str, float]) -> list[tuple[object, ...]]:
    values = study.table("ingredient_values")
    own = values.loc[(values["property"] == COST) & values["value"].notna()].sort_values("measured_on", kind="stable")
    names = [canonical_ingredient(text) or text for text in own["ingredient"]]
    cost = dict(zip(names, own["value"].astype(float), strict=True))  # the latest comes last and stays
    used = [one for part in (blend, base) for one, amount in part.items() if amount > 0]
    if not used or not set(used) <= set(cost):
        return []
    mass, versus = (sum(cost[one] * amount for one, amount in part.items() if amount > 0) for part in (blend, base))
    return [(COST, mass, versus, "", "")]


def _assessors(study: Study, blend: Mapping[str, float]) -> Iterator[tuple[object, ...]]:
    present = [one for one, amount in blend.items() if amount > 0]
    held = {tag.casefold(): one for one in present for tag in ingredient_tags(one, "allergen")}
    listed = study.table("assessors")
    for tag, one in held.items():
        avoiding = [
            str(assessor)
            for assessor, avoid in zip(listed["assessor"], listed["avoid"], strict=True)
            if tag in [each.strip().casefold() for each in str(avoid).split(";")]
        ]
        if avoiding:
            yield ("assessors", float(len(avoiding)), float("nan"), one, ", ".join(avoiding))


def _cautions(blend: Mapping[str, float]) -> list[tuple[object, ...]]:
    words = shared_table("cautions").set_index("caution")["words"]
    called: dict[str, list[str]] = {}
    for one, amount in blend.items():
        for tag in ingredient_tags(one, "cautions") if amount > 0 else ():
            called.setdefault(tag, []).append(one)
    nothing = float("nan")
    return [("caution", nothing, nothing, ", ".join(about), str(words[tag])) for tag, about in called.items()]


# Which swaps a set of blends consists of, and where any blend lies in terms of them.


@dataclass(frozen=True, eq=False, slots=True)
class TestedMoves:
    """Independent ways in which the blends differ.

    Parameters
    ----------
    kind
        `swaps`: each move is a swap of emollients of its own, 0 without it and 1 with all of it; `amounts`: the blends
        differ in other ways, and the moves are their principal directions.
    names
        Labels of the swaps, or numbers of the directions.
    origin, directions
        A blend with the coordinates z has the amounts origin + z @ directions (per cent of the formula).
    """

    kind: Literal["swaps", "amounts"]
    names: tuple[str, ...]
    origin: Array
    directions: Array

    def coordinates(self, amounts: Array) -> tuple[Array, Array]:
        """Return coordinates (blends x moves) of amounts (blends x emollients), and how far off the moves each lies."""
        shift = np.atleast_2d(amounts) - self.origin
        z = np.linalg.lstsq(self.directions.T, shift.T, rcond=None)[0].T
        off: Array = np.abs(shift - z @ self.directions).max(axis=1, initial=0.0)
        return np.asarray(z, dtype=float), off


def held_swaps(study: Study, amounts: pd.DataFrame, base: str) -> pd.DataFrame:
    """Return the swaps that the blends hold: `swap removed added percent n_pairs`.

    Those seen in matched pairs, and two emollients of which one always goes as the other comes, at equal mass,
    without a matched pair (as in a half fraction): `n_pairs` 0, pointing away from the base.
    """
    paired = swap_table(study)
    held = set(amounts.columns)
    paired = paired.loc[[{*ends} <= held for ends in zip(paired["removed"], paired["added"], strict=True)]]
    known = {frozenset(ends) for ends in zip(paired["removed"], paired["added"], strict=True)}
    values = amounts.to_numpy(dtype=float)
    in_base = amounts.loc[[base]].to_numpy(dtype=float)[0]
    group, sign = alias_groups(values, EXACT_ALIAS_THRESHOLD)
    names = [str(name) for name in amounts.columns]
    rows = []
    for number in range(group.max(initial=-1) + 1):
        members = np.flatnonzero(group == number)
        if members.size != 2 or frozenset(names[m] for m in members) in known:
            continue
        spread = np.ptp(values[:, members], axis=0)
        if sign[members].prod() > 0 or abs(spread[0] - spread[1]) > SAME_AMOUNT:
            continue
        removed, added = sorted(members, key=lambda member: -float(in_base[member]))
        rows.append((f"{names[removed]} → {names[added]}", names[removed], names[added], round(float(spread[0]), 2), 0))
    columns = ["swap", "removed", "added", "percent", "n_pairs"]
    unpaired = pd.DataFrame(rows, columns=columns).astype(paired.dtypes.to_dict())
    return pd.concat([paired, unpaired], ignore_index=True)


def find_moves(amounts: pd.DataFrame, base: str, swaps: pd.DataFrame) -> TestedMoves:
    """Return the moves of these blends (per cent of the formula): their swaps where these are all that differs.

    Swaps that share an emollient trade its mass among them, so that one cannot be made wholly whatever the others are;
    then the moves are directions.
    """
    values = amounts.to_numpy(dtype=float)
    count = independent_moves(values, SAME_AMOUNT)
    chosen: list[int] = []
    steps = swap_steps(amounts, swaps)
    for row in range(len(steps)):
        if np.linalg.matrix_rank(steps[[*chosen, row]]) == len(chosen) + 1:
            chosen.append(row)
    origin = amounts.loc[base].to_numpy(dtype=float)
    used = [name for end in ("removed", "added") for name in swaps[end].iloc[chosen]]
    if len(chosen) == count and len(set(used)) == len(used):
        moves = TestedMoves("swaps", tuple(swaps["swap"].iloc[chosen]), origin, steps[chosen])
        if (moves.coordinates(values)[1] <= 2 * SAME_AMOUNT).all():
            return moves
    _, singular, directions = np.linalg.svd(values - values.mean(axis=0), full_matrices=False)
    kept = directions[:count] * (singular[:count, None] / np.sqrt(len(values)))
    names = tuple(f"direction {number + 1}" for number in range(count))
    return TestedMoves("amounts", names, values.mean(axis=0), kept)


def swap_steps(amounts: pd.DataFrame, swaps: pd.DataFrame) -> Array:
    """Return for each swap the change of every emollient, per cent of the formula (swaps x emollients)."""
    place = {str(name): column for column, name in enumerate(amounts.columns)}
    steps = np.zeros((len(swaps), len(place)))
    for row, swap in enumerate(swaps.to_dict("records")):
        steps[row, place[swap["added"]]] += swap["percent"]
        steps[row, place[swap["removed"]]] -= swap["percent"]
    return steps
