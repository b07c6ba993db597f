"""Studies of consumers' answers for tests: from a table of numbers, or drawn anew from the demo's story."""

from __future__ import annotations

import numpy as np
import pandas as pd

from data_demo import simulate
from panel.study.study import Study


def answers_study(table, *, kind="liking", question="overall liking", benchmark=None, **columns) -> Study:
    """Return a study whose answers are a table of numbers, consumers by prototypes, NaN where there is no answer."""
    rows = [
        (f"C{person + 1:04d}", f"P{sample + 1}", question, kind, f"{value:g}", "", np.nan)
        for (person, sample), value in np.ndenumerate(np.asarray(table, dtype=float))
        if np.isfinite(value)
    ]
    names = ["assessor", "prototype", "question", "kind", "answer", "session", "position"]
    answers = pd.DataFrame(rows, columns=names).assign(**columns)
    facts = {"benchmark": benchmark} if benchmark else {}
    return Study({"answers": answers}, facts=facts)


def demo_panel(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Return new answers of 60 consumers to 8 prototypes by the demo's generator, and their hidden kinds."""
    rng = np.random.default_rng(seed)
    servings = simulate.consumer_servings(rng, set())
    kinds = simulate.consumer_segments(rng)
    answers = simulate.hall_answers(rng, servings, kinds)
    answers = answers.loc[answers["kind"] == "liking"]
    table = answers.assign(answer=answers["answer"].astype(float)).pivot_table(
        index="assessor", columns="prototype", values="answer"
    )
    return table.to_numpy(dtype=float), np.array([kinds[name] for name in table.index])


def one_group_panel(rng: np.random.Generator, spread: str, consumers: int = 60, prototypes: int = 8) -> np.ndarray:
    """Return answers of people who want the same: common means, own levels, noise, rounded to nine points.

    `spread` of the noise: `even`, unequal `by consumer`, `by prototype`, by `both`, or even with a `ceiling` (means
    near the top of the scale).
    """
    means = rng.normal(7.3 if spread == "ceiling" else 6.0, 1.0 if spread == "ceiling" else 0.7, prototypes)
    noise = np.full((consumers, prototypes), 1.3)
    if spread in ("by consumer", "both"):
        noise = noise * np.exp(rng.normal(0.0, 0.4, consumers))[:, None]
    if spread in ("by prototype", "both"):
        noise = noise * np.linspace(0.6, 1.5, prototypes)
    value = means + rng.normal(0.0, 1.0, (consumers, 1)) + noise * rng.normal(size=(consumers, prototypes))
    return np.clip(np.rint(value), 1, 9)
