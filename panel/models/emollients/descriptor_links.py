"""One descriptor at a time: does an attribute go with a property of the blend, and may that property be named?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.emollients.link_columns import LinkColumns
from panel.models.emollients.prototype_level import PrototypeLevel
from panel.stats.comparing.multiplicity import holm
from panel.stats.formulas.composition import independent_moves
from panel.stats.maps.drivers import Drivers, name_drivers, p_over_moves
from panel.stats.maps.single_links import SingleLinks, best_by_chance, correlation_needed, single_links
from panel.study.expected_directions import expected_directions
from panel.study.formulas import SAME_AMOUNT

Floats = NDArray[np.float64]
FEWEST_FOR_LINKS = 5
# Adjusted p-value below which the prototypes count as told apart on an attribute.
_DIFFERS = 0.05


@dataclass(frozen=True, eq=False, slots=True)
class Links:
    """What one descriptor at a time shows.

    Parameters
    ----------
    links
        `attribute descriptor r slope std_error df p_value p_adjusted slope_low slope_high aliased expected agrees
        p_named`: correlation and slope over the blends, the range of the slope when each blend in turn is left out,
        Holm's adjustment over all of them; `expected` +1, -1 or 0 (nothing said beforehand), `agrees` 1, 0 or NaN.
        `p_named` holds the correlation to as many rows as the blends differ in independent ways, and one more; it is
        adjusted over the pairs with a direction said beforehand that could be named, NaN for the others.
    running
        `attribute descriptor kind`: for attributes where a descriptor stands out, all columns that explain it as well.
    named
        `attribute descriptor`: said beforehand, the only one in the running, free of aliases and steady.
    facts
        One row: `n moves descriptors questions beforehand r_needed r_to_name r_by_chance by_chance below_5_percent`;
        `r_to_name` is what a single pair would have to reach, given the moves; `by_chance` is how many of the questions
        would show p < 0.05 if nothing went with anything.
    """

    links: pd.DataFrame
    running: pd.DataFrame
    named: pd.DataFrame
    facts: pd.DataFrame


def find_links(level: PrototypeLevel, columns: LinkColumns, conf_level: float = 0.95) -> Links:
    """Set every attribute against every column; at least five blends are needed (`FEWEST_FOR_LINKS`)."""
    Y = level.means.to_numpy(dtype=float)
    found = single_links(columns.values, Y)
    n, own = len(Y), columns.is_descriptor
    adjusted = np.full(found.r.shape, np.nan)
    adjusted[own] = holm(found.p_value[own])
    attributes = [str(name) for name in level.means.columns]
    expected = _expected(columns.names, attributes)
    differs = (level.error["p_adjusted"] < _DIFFERS).to_numpy()
    moves = independent_moves(level.amounts.to_numpy(dtype=float), SAME_AMOUNT).count
    p_named = _p_named(columns, found.r, expected, moves)
    refused = _refused(columns, found, expected, differs)
    between = np.corrcoef(columns.values, rowvar=False).reshape(len(columns.names), -1)
    with np.errstate(invalid="ignore"):
        possible = found.p_value < round(1 - conf_level, 12)
    drivers = name_drivers(
        found.r,
        adjusted,
        p_named,
        between,
        moves,
        candidate=own,
        possible=possible,
        refused=refused,
        level=conf_level,
    )
    return Links(
        links=_link_frame(columns, found, adjusted, p_named, expected, attributes),
        running=_running(columns, drivers, attributes),
        named=pd.DataFrame(
            {
                "attribute": pd.Series(
                    [a for a, k in zip(attributes, drivers.named, strict=True) if k >= 0], dtype="str"
                ),
                "descriptor": pd.Series([columns.names[k] for k in drivers.named if k >= 0], dtype="str"),
            }
        ),
        facts=_facts(found.p_value[own], (n, moves), int(own.sum()), int(np.isfinite(p_named).sum()), conf_level),
    )


def _p_named(columns: LinkColumns, r: Floats, expected: NDArray[np.int64], moves: int) -> Floats:
    """Return the p-values over the moves of the pairs that may be named, adjusted over these; NaN for the others.

    What moves with others is not asked: it could not be named whatever the scores are.
    """
    asked = (expected != 0) & (columns.is_descriptor & ~columns.aliased)[:, None]
    return holm(np.where(asked, p_over_moves(r, moves), np.nan))


def _refused(
    columns: LinkColumns, found: SingleLinks, expected: NDArray[np.int64], differs: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return where a name would be wrong: aliases, a slope that hangs on one blend, unexpected, no difference."""
    steady = np.sign(found.slope_low) == np.sign(found.slope_high)
    as_said = (expected != 0) & (np.sign(found.r) == expected)
    return columns.aliased[:, None] | ~steady | ~as_said | ~differs[None]


def _expected(names: tuple[str, ...], attributes: list[str]) -> NDArray[np.int64]:
    """Return +1, -1 or 0 for each column and attribute, as said beforehand."""
    table = expected_directions().set_index(["descriptor", "attribute"])["sign"]
    return np.array([[table.get((name, attribute), 0) for attribute in attributes] for name in names], dtype=np.int64)


def _link_frame(
    columns: LinkColumns,
    found: SingleLinks,
    adjusted: Floats,
    p_named: Floats,
    expected: NDArray[np.int64],
    attributes: list[str],
) -> pd.DataFrame:
    own = columns.is_descriptor
    names = [name for name, is_own in zip(columns.names, own, strict=True) if is_own]
    agrees = np.where(expected == 0, np.nan, (np.sign(found.r) == expected).astype(float))
    numbers = {
        name: values[own].T.ravel()
        for name, values in (
            ("r", found.r),
            ("slope", found.slope),
            ("std_error", found.std_error),
            ("p_value", found.p_value),
            ("p_adjusted", adjusted),
            ("slope_low", found.slope_low),
            ("slope_high", found.slope_high),
            ("expected", expected),
            ("agrees", agrees),
            ("p_named", p_named),
        )
    }
    return pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(attributes, len(names)), dtype="str"),
            "descriptor": pd.Series(names * len(attributes), dtype="str"),
            "df": found.df,
            "aliased": np.tile(columns.aliased[own], len(attributes)),
            **numbers,
        }
    )


def _running(columns: LinkColumns, drivers: Drivers, attributes: list[str]) -> pd.DataFrame:
    rows = [
        (attribute, columns.names[column], "descriptor" if columns.is_descriptor[column] else "emollient")
        for response, attribute in enumerate(attributes)
        for column in np.flatnonzero(drivers.in_running[:, response])
    ]
    return pd.DataFrame(rows, columns=["attribute", "descriptor", "kind"], dtype="str")


def _facts(p: Floats, size: tuple[int, int], descriptors: int, beforehand: int, conf_level: float) -> pd.DataFrame:
    asked, (n, moves) = int(np.isfinite(p).sum()), size
    return pd.DataFrame(
        {
            "n": [n],
            "moves": [moves],
            "descriptors": [descriptors],
            "questions": [asked],
            "beforehand": [beforehand],
            "r_needed": [correlation_needed(n, conf_level)],
            "r_to_name": [correlation_needed(moves + 1, conf_level) if moves > 1 else float("nan")],
            "r_by_chance": [best_by_chance(n, descriptors) if descriptors else float("nan")],
            "by_chance": [(1 - conf_level) * asked],
            "below_5_percent": [int((p < _DIFFERS).sum())],
        }
    )
