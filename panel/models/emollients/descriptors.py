"""What the blend of each prototype is like: viscosity, spreading, families, volatile and solid share, and so on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.emollients.descriptor_notes import descriptor_notes
from panel.models.emollients.ingredient_values import BlendValues, blend_values
from panel.stats.formulas.blends import (
    harmonic_mean,
    part_of_mass,
    smallest_present,
    weighted_mean,
    weighted_spread,
)
from panel.study.blend import emollient_blend
from panel.study.formulas import formula_totals
from panel.study.study import Study

# A spreading value below the first limit is slow, above the second fast, mm2 in 10 min. Published limits disagree
# (300 and 1000, or 500 and 1000), so both are shown.
SPREADING_LIMITS = ((300.0, 1000.0), (500.0, 1000.0))
# Below this covered mass, per cent, a figure is marked weak.
WEAK_COVERAGE = 80.0
_Figures = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]
_Average = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


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
    method, notes
        How it was computed, and what to know before trusting it.
    """

    values: pd.DataFrame
    wide: pd.DataFrame
    sound: tuple[str, ...]
    own: pd.DataFrame
    method: str
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False, slots=True)
class _Descriptor:
    """One descriptor: how it averages, over which ingredients (a mask), and where memory stands in."""

    name: str
    average: _Average
    values: NDArray[np.float64]
    concerned: NDArray[np.bool_]
    from_memory: NDArray[np.bool_]


def find_descriptors(
    study: Study,
    *,
    spreading_limits: Sequence[tuple[float, float]] = SPREADING_LIMITS,
    weak_below: float = WEAK_COVERAGE,
) -> BlendDescriptors:
    """Compute the descriptors of every blend of `study`; ModelError if no prototype has a complete formula.

    Shares are per cent of the blend, the emollient total is per cent of the formula. A solid is never given a
    viscosity and spreads by zero. Averages run over the mass with a known value; shares count only what is known to
    belong.
    """
    blend = emollient_blend(study)
    if blend.empty:
        raise ModelError(
            "No prototype has a complete formula with an emollient. Add the table formulas, one row per ingredient "
            "and prototype: prototype, ingredient (INCI), percent, kind (emollient ...)."
        )
    known = blend_values(study, tuple(blend.columns))
    total = formula_totals(study).set_index("prototype").loc[blend.index, "emollient_total"]
    figures = {"emollient_total": (total.to_numpy(), np.full(len(blend), 100.0), np.zeros(len(blend)))}
    weights = blend.to_numpy()
    figures |= {each.name: _figures(weights, each) for each in _descriptors(known, spreading_limits)}
    wide = pd.DataFrame({name: figure[0] for name, figure in figures.items()}, index=blend.index)
    values = _long(wide, figures, weak_below)
    weak = set(values.loc[values["weak"], "descriptor"])
    return BlendDescriptors(
        values=values,
        wide=wide,
        sound=tuple(name for name in figures if name not in weak),
        own=known.own,
        method=_method(spreading_limits, weak_below),
        notes=descriptor_notes(blend, known, values),
    )


def _figures(weights: NDArray[np.float64], descriptor: _Descriptor) -> _Figures:
    """Return the descriptor of each blend, its coverage and the share from memory, the latter two in per cent."""
    concerned = weights[:, descriptor.concerned]
    values = descriptor.values[descriptor.concerned]
    known = ~np.isnan(values)
    from_memory = descriptor.from_memory[descriptor.concerned] & known
    coverage, memory = part_of_mass(concerned, known), part_of_mass(concerned, from_memory)
    return descriptor.average(concerned, values), 100 * coverage, 100 * memory


def _long(wide: pd.DataFrame, figures: dict[str, _Figures], weak_below: float) -> pd.DataFrame:
    """Return one row per descriptor and prototype."""
    value, coverage, from_memory = (np.concatenate(column) for column in zip(*figures.values(), strict=True))
    return pd.DataFrame(
        {
            "prototype": pd.Series(list(wide.index) * len(figures), dtype="str"),
            "descriptor": pd.Series(np.repeat(list(figures), len(wide)), dtype="str"),
            "value": value,
            "coverage": coverage,
            "weak": ~(coverage >= weak_below),
            "from_memory": from_memory,
        }
    )


def _descriptors(known: BlendValues, limits: Sequence[tuple[float, float]]) -> Iterator[_Descriptor]:
    """Yield every descriptor in the order in which they are shown."""
    yield from _of_spreading(known, limits)
    yield from _of_liquids(known)
    everything = np.ones(known.family.size, dtype=bool)
    molar_mass = known.values["molar_mass_g_mol"]
    memory = known.from_memory["molar_mass_g_mol"]
    yield _Descriptor("molar_mass_by_mass", weighted_mean, molar_mass, everything, memory)
    yield _Descriptor("molar_mass_by_number", harmonic_mean, molar_mass, everything, memory)
    for name in ("volatile", "solid"):
        share = 100 * known.values[name]
        yield _Descriptor(f"{name}_share", _share, share, everything, known.from_memory[name])
    yield from _of_structure(known)


def _of_liquids(known: BlendValues) -> Iterator[_Descriptor]:
    """Yield viscosity and tensions; what is not known to be solid counts as liquid."""
    liquid = known.values["solid"] != 1
    with np.errstate(divide="ignore"):
        log_viscosity = np.log10(known.values["viscosity_mpa_s"])
    memory = known.from_memory
    everything = np.ones(liquid.size, dtype=bool)
    surface, between = known.values["surface_tension_mn_m"], known.values["interfacial_tension_mn_m"]
    yield _Descriptor("log10_viscosity_liquids", weighted_mean, log_viscosity, liquid, memory["viscosity_mpa_s"])
    yield _Descriptor("surface_tension", weighted_mean, surface, everything, memory["surface_tension_mn_m"])
    yield _Descriptor("surface_tension_lowest", smallest_present, surface, everything, memory["surface_tension_mn_m"])
    yield _Descriptor("interfacial_tension", weighted_mean, between, everything, memory["interfacial_tension_mn_m"])


def _of_spreading(known: BlendValues, limits: Sequence[tuple[float, float]]) -> Iterator[_Descriptor]:
    """Yield spreading of the whole blend (solids at zero) and of the liquids, its breadth, the shares of classes."""
    solid = known.values["solid"] == 1
    everything = np.ones(solid.size, dtype=bool)
    memory = known.from_memory["spreading_mm2_10min"]
    spreading = np.where(solid, 0.0, known.values["spreading_mm2_10min"])
    yield _Descriptor("spreading_whole", weighted_mean, spreading, everything, memory & ~solid)
    yield _Descriptor("spreading_liquids", weighted_mean, spreading, ~solid, memory)
    with np.errstate(divide="ignore"):
        yield _Descriptor("spreading_breadth", weighted_spread, np.log10(spreading), ~solid, memory)
    for low, high in limits:
        classes = {
            "fast": spreading > high,
            "medium": (spreading >= low) & (spreading <= high),
            "slow": (spreading < low) & ~solid,
        }
        for name, member in classes.items():
            share = np.where(np.isnan(spreading), np.nan, 100.0 * member)
            yield _Descriptor(f"{name}_share_{low:g}_{high:g}", _share, share, everything, memory & ~solid)


def _of_structure(known: BlendValues) -> Iterator[_Descriptor]:
    """Yield the share of each chemical family that occurs, and of structures with a carbon-carbon double bond."""
    everything = np.ones(known.family.size, dtype=bool)
    nothing = np.zeros(known.family.size, dtype=bool)
    unknown = known.family == ""
    for family in dict.fromkeys(known.family[~unknown]):
        share = np.where(unknown, np.nan, 100.0 * (known.family == family))
        yield _Descriptor(f"{str(family).replace(' ', '_')}_share", _share, share, everything, nothing)
    drawn = known.smiles != ""
    double_bond = np.array(["C=C" in smiles for smiles in known.smiles], dtype=float)
    share = np.where(drawn, 100.0 * double_bond, np.nan)
    yield _Descriptor("unsaturated_share", _share, share, everything, nothing)


def _share(weights: NDArray[np.float64], percent: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the per cent of the whole blend that is known to belong, what is unknown counting as not."""
    return weighted_mean(weights, np.nan_to_num(percent))


def _method(limits: Sequence[tuple[float, float]], weak_below: float) -> str:
    shown = " and ".join(f"{low:g} / {high:g}" for low, high in limits)
    return (
        "Mass-weighted means over the emollient part of the formula: viscosity as the mean of its decimal logarithm "
        "over the liquids (ideal mixing, 25 °C), spreading of the whole blend with solids at zero, molar mass by "
        f"mass and by number. Spreading classes end at {shown} mm2 in 10 min. Figures with less than "
        f"{weak_below:g} % of the mass covered are marked weak."
    )
