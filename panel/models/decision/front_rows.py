"""Which prototypes does no other beat on every wanted attribute, and on liking, at once?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.decision.liking import LikingDraws
from panel.models.decision.panel_draws import PanelDraws
from panel.models.decision.profile import Profile
from panel.models.decision.windows import window_distance
from panel.stats.formulas.front import beats

Floats = NDArray[np.float64]


def front_rows(profile: Profile, drawn: PanelDraws, liking: LikingDraws | None) -> pd.DataFrame:
    """Return `prototype on_front share beaten_by`; `share` of the draws in which nobody beats it.

    More is better where only a lowest mean is wanted, less where only a highest is; between two limits less distance
    from the window. A prototype whose mean or liking is not known beats nobody and is beaten by nobody: it is told as
    missing (`on_front` NaN).
    """
    wanted = profile.wanted.set_index("attribute").loc[list(drawn.attributes)]
    low, high = (wanted[[name]].to_numpy(float) for name in ("target_low", "target_high"))
    estimate, draws = _wanted(drawn.estimate, low, high), _wanted(drawn.drawn, low, high)
    if liking is not None:
        place = [liking.prototypes.index(name) if name in liking.prototypes else -1 for name in drawn.prototypes]
        there = np.array(place) >= 0
        own = np.where(there, liking.rows["estimate"].to_numpy(float)[place], np.nan)
        estimate = np.vstack([estimate, own])
        more = np.where(there, liking.drawn[:, place], np.nan)
        draws = np.concatenate([draws, more[:, None, :]], axis=1)
    known = np.flatnonzero(np.isfinite(estimate).all(axis=0))
    names = np.array(drawn.prototypes, dtype=object)
    frame = pd.DataFrame({"prototype": pd.Series(drawn.prototypes, dtype="str"), "on_front": np.nan, "share": np.nan})
    by = beats(estimate[:, known].T)
    share = ~beats(np.swapaxes(draws[:, :, known], 1, 2)).any(axis=-2)
    frame.loc[known, "on_front"] = (~by.any(axis=0)).astype(float)
    frame.loc[known, "share"] = share.mean(axis=0)
    beaten = [""] * len(frame)
    for column, own_place in enumerate(known.tolist()):
        beaten[own_place] = ", ".join(names[known[by[:, column]]])
    return frame.assign(beaten_by=pd.Series(beaten, dtype="str"))


def _wanted(values: Floats, low: Floats, high: Floats) -> Floats:
    """Return the values turned so that more is better."""
    one_sided = np.where(np.isnan(high), values, -values)
    return np.asarray(np.where(np.isnan(low) | np.isnan(high), one_sided, -window_distance(values, low, high)))
