"""Would a plan leave differences or swaps that cannot be told from something else? Said before anybody makes or serves.

The same rule as for a study that was run: the factor is added as fixed, and what is left of the information is looked
at (`panel.stats.comparing.estimability`).
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

from panel.stats.comparing.estimability import information_left

_WORDS = {
    "session": ("served in one session", "Put {0} and {1} into one session."),
    "position": ("served at one position of the order", "Let the order change from person to person."),
    "site": ("put on one site", "Let the sites change from person to person."),
}
_SHOWN = 3


def serving_confounds(servings: pd.DataFrame, warm_up: str = "") -> tuple[str, ...]:
    """Return which pairs of prototypes a plan would never let be told from session, position or site, one line each."""
    rows = servings.loc[servings["prototype"] != warm_up]
    found = []
    for factor, (met, advice) in _WORDS.items():
        known = rows.loc[rows[factor].astype("str") != ""]
        if known[factor].nunique() < 2:
            continue
        table = pd.crosstab(known["prototype"], known[factor])
        pairs = list(combinations(range(len(table)), 2))
        contrasts = np.zeros((len(pairs), len(table)))
        contrasts[np.arange(len(pairs)), [i for i, _ in pairs]] = 1.0
        contrasts[np.arange(len(pairs)), [j for _, j in pairs]] = -1.0
        left = information_left(table.to_numpy(), contrasts)
        lost = [
            (str(table.index[i]), str(table.index[j])) for (i, j), share in zip(pairs, left, strict=True) if share <= 0
        ]
        if lost:
            named = ", ".join(f"{first} and {second}" for first, second in lost[:_SHOWN])
            more = f" and {len(lost) - _SHOWN} more pairs" if len(lost) > _SHOWN else ""
            found.append(
                f"By this plan {named}{more} are never {met}, nor joined through others: whatever they score, the "
                f"verdict would be 'cannot tell'. {advice.format(*lost[0])}"
            )
    return tuple(found)


def making_confounds(prototypes: pd.DataFrame, days: pd.DataFrame) -> tuple[str, ...]:
    """Return which swaps of a plan could never be told from the making day, one line each.

    Parameters
    ----------
    prototypes
        `prototype` and one column of 0 and 1 per swap, as a plan has them.
    days
        `day prototype`, as `panel.plan.swap_plan` gives them.
    """
    made = prototypes.drop(columns=["made"], errors="ignore").set_index("prototype")
    swaps = made.columns
    day = days.drop_duplicates("prototype").set_index("prototype")["day"].reindex(made.index)
    known = day.notna().to_numpy()
    if day[known].nunique() < 2 or not len(swaps):
        return ()
    table = pd.get_dummies(day[known]).to_numpy(dtype=float)
    columns = np.column_stack([made.to_numpy(dtype=float)[known], np.ones(int(known.sum()))])
    left = information_left(table, np.eye(len(swaps), columns.shape[1]), columns)
    return tuple(
        f"By these days the swap {swap} could never be told from the making day. Make both of a matched pair on one "
        "day."
        for swap, share in zip(swaps, left, strict=True)
        if share <= 0
    )
