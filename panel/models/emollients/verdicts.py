"""Attribute by attribute: how far up the ladder does the evidence reach, and may anything be named?"""

from __future__ import annotations

import pandas as pd

from panel.models.emollients.descriptor_links import Links
from panel.models.emollients.prototype_level import PrototypeLevel

SEEN = 0.05
JOIN = "; "
# driver: a property may be named. swaps: these swaps did it, also judged from prototype to prototype. assessors: the
# assessors agree on these swaps, another batch might not. unclear: prototypes differ, no swap stands out. alike: the
# prototypes are not told apart.
VERDICTS = ("driver", "swaps", "assessors", "unclear", "alike")


def attribute_verdicts(
    level: PrototypeLevel, judged: pd.DataFrame, made: pd.DataFrame | None, links: Links | None
) -> pd.DataFrame:
    """Return `attribute verdict driver swaps doubtful running`, one row per attribute.

    Parameters
    ----------
    judged
        Swap effects with assessors as the units: `attribute swap p_adjusted`; without rows where no two prototypes
        form a matched pair.
    made
        Swap effects with prototypes as the units: `attribute swap p_adjusted`; None where there are too few.
    links
        What one descriptor at a time shows; None where there are too few prototypes.

    `swaps` are seen both ways (or by the prototypes alone where there are no pairs), `doubtful` by the assessors only;
    `running` are the columns that explain the attribute equally well. Names are joined by "; ".
    """
    by_assessors = _seen(judged)
    by_prototypes = _seen(made) if made is not None else {}
    rows = []
    for attribute, p_adjusted in level.error["p_adjusted"].items():
        name = str(attribute)
        heard, repeated = by_assessors.get(name, []), by_prototypes.get(name, [])
        swaps = [swap for swap in repeated if judged.empty or swap in heard]
        doubtful = [swap for swap in heard if swap not in swaps]
        driver, running = _property(links, name)
        differs = bool(p_adjusted < SEEN)
        verdict = _verdict(differs, driver, swaps, doubtful)
        rows.append((name, verdict, driver, JOIN.join(swaps), JOIN.join(doubtful), JOIN.join(running)))
    columns = ["attribute", "verdict", "driver", "swaps", "doubtful", "running"]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def _seen(effects: pd.DataFrame) -> dict[str, list[str]]:
    """Return the swaps that stand out, by attribute."""
    seen = effects.loc[effects["p_adjusted"] < SEEN]
    return {str(name): list(part["swap"]) for name, part in seen.groupby("attribute", sort=False)}


def _property(links: Links | None, attribute: str) -> tuple[str, list[str]]:
    if links is None:
        return "", []
    named = links.named.loc[links.named["attribute"] == attribute, "descriptor"]
    running = links.running.loc[links.running["attribute"] == attribute, "descriptor"]
    return str(named.iloc[0]) if len(named) else "", list(running)


def _verdict(differs: bool, driver: str, swaps: list[str], doubtful: list[str]) -> str:
    if driver:
        return "driver"
    if swaps:
        return "swaps"
    if doubtful:
        return "assessors"
    return "unclear" if differs else "alike"
