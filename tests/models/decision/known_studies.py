"""Studies with known truth for tests of a decision: where every prototype stands, and what consumers like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from panel.models.decision.contenders import Decision
from panel.models.decision.decide import decide, nearest
from panel.study.study import Study

ATTRIBUTES = ("GREASE", "SOFT")
WINDOWS: dict[str, tuple[float | None, float | None]] = {"GREASE": (None, 40), "SOFT": (55, None)}


def decided(study: Study, seed: int = 1, weights: Mapping[str, float] | None = None, **keywords: Any) -> Decision:
    """Return the whole decision on a study, drawn from `seed`."""
    return decide(study, nearest(study, np.random.default_rng(seed), weights=weights), **keywords)


def target_study(
    truth: Mapping[str, Sequence[float]],
    *,
    seed: int = 1,
    assessors: int = 10,
    sessions: int = 3,
    noise: float = 1.0,
    windows: Mapping[str, tuple[float | None, float | None]] = WINDOWS,
    liking: Mapping[str, float] | None = None,
    consumers: int = 60,
    facts: Mapping[str, Any] | None = None,
    columns: Mapping[str, Sequence[Any]] | None = None,
    **tables: pd.DataFrame,
) -> Study:
    """Return a study whose prototypes have the true means in `truth`, one per attribute of `windows`.

    Parameters
    ----------
    noise
        Factor on the usual scatter: people's level 6, what they see in a prototype 4, each score 6.
    liking
        True mean liking by prototype; None without consumers.
    columns
        Further columns of the table of attributes.
    """
    rng = np.random.default_rng(seed)
    names, attributes = list(truth), list(windows)
    means = np.array([truth[name] for name in names]).T[:, None, :, None]
    shape = (len(attributes), assessors, len(names), sessions)
    score = means + noise * (rng.normal(0, 6, (len(attributes), assessors, 1, 1)) + rng.normal(0, 4, (*shape[:3], 1)))
    score = score + noise * rng.normal(0, 6, shape)
    index = np.indices(shape).reshape(4, -1)
    scores = pd.DataFrame(
        {
            "assessor": [f"A{place + 1:02d}" for place in index[1]],
            "prototype": np.array(names, dtype=object)[index[2]],
            "attribute": np.array(attributes, dtype=object)[index[0]],
            "score": score.ravel(),
            "session": (index[3] + 1).astype(str),
        }
    )
    roles = ["benchmark"] + ["prototype"] * (len(names) - 1)
    ends = [[float("nan") if end is None else float(end) for end in windows[name]] for name in attributes]
    wanted = pd.DataFrame(
        {"attribute": attributes, "target_low": [e[0] for e in ends], "target_high": [e[1] for e in ends]}
    )
    made = {
        "prototypes": pd.DataFrame({"prototype": names, "role": roles}, dtype="str"),
        "attributes": wanted.assign(scale_min=0.0, scale_max=100.0, **(columns or {})),
        "scores": scores,
    }
    if liking is not None:
        made["answers"] = answers(rng, liking, consumers)
    return Study(made | tables, dict(facts or {}))


def answers(rng: np.random.Generator, liking: Mapping[str, float], consumers: int) -> pd.DataFrame:
    """Return one liking answer per consumer and prototype."""
    names = list(liking)
    felt = (
        np.array(list(liking.values())) + rng.normal(0, 0.7, (consumers, 1)) + rng.normal(0, 1, (consumers, len(names)))
    )
    told = np.clip(np.rint(felt), 1, 9).astype(int)
    person, what = np.indices(told.shape).reshape(2, -1)
    return pd.DataFrame(
        {
            "assessor": [f"C{place + 1:03d}" for place in person],
            "prototype": np.array(names, dtype=object)[what],
            "question": "overall liking",
            "kind": "liking",
            "answer": told.ravel().astype(str),
        }
    )
