"""Do the chances of meeting target windows come true? Panels with known truth, drawn anew many times.

    .venv/bin/python -m benchmarks.decision_calibration [studies] [words of the lines wanted]

For each band of stated chances the table shows in what share of the cases the truth was inside: for single windows, for
all windows of a prototype together, and for windows read as differences from the benchmark. Truth is what these people
on these days would see in the long run: the true mean and their own level. `edges near`: the edge of each window lies
anywhere near where the mean came out. `edges fixed`: all edges stand at 50 and true means lie about them. The spread of
the true means is 8, as of prototypes that differ, or 3, as of finalists.

Below, winner's luck: the size of the differences from the first prototype that were told apart (Dunnett, 95 %), by
their estimates and by the shrunken ones, over what is true.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import norm

from panel.models.decision.windows import draw_panels
from panel.models.prototypes.differences import find_differences
from panel.study.study import Study

BANDS = ((0.02, 0.1), (0.15, 0.25), (0.35, 0.45), (0.55, 0.65), (0.75, 0.85), (0.93, 0.985))
LEVEL_SD, ATTRIBUTE_LEVEL_SD, VIEW_SD, SITTING_SD, SCATTER_SD = 6.0, 4.0, 5.0, 1.5, 8.0
LIMIT = 50.0  # every window is "up to 50"


def draw_study(
    rng: np.random.Generator,
    *,
    assessors: int = 10,
    prototypes: int = 6,
    attributes: int = 3,
    sessions: int = 3,
    spread: float = 8.0,
    halo: float = 0.3,
    missing: bool = True,
    middle: float = LIMIT,
) -> tuple[Study, np.ndarray]:
    """Return a study and its true means (attributes, prototypes) to these people, spread about `middle`.

    Away from the middle of the scale scores stop at 0 and 100, and a true mean is that of such scores.

    `halo` is the share of the variance of views and scatter that all attributes of one sample have in common; with
    `missing` the last assessor stays away from the last session.
    """
    a, p, q, r = assessors, prototypes, attributes, sessions
    truth = middle + rng.normal(0, spread, (q, p))

    def shared(sd: float, *shape: int) -> np.ndarray:
        own, common = rng.standard_normal((q, *shape)), rng.standard_normal((1, *shape))
        return sd * (np.sqrt(1 - halo) * own + np.sqrt(halo) * common)

    level = rng.normal(0, LEVEL_SD, (1, a, 1, 1)) + rng.normal(0, ATTRIBUTE_LEVEL_SD, (q, a, 1, 1))
    level = level + rng.normal(0, SITTING_SD, (q, a, 1, r))
    score = truth[:, None, :, None] + level + shared(VIEW_SD, a, p, 1) + shared(SCATTER_SD, a, p, r)
    if middle == LIMIT:
        truth = truth + level.mean(axis=(1, 3))
    else:
        score, truth = np.clip(score, 0, 100), on_scale(truth[:, None, :, None] + level).mean(axis=(1, 3))
    index = np.indices(score.shape).reshape(4, -1)
    names = [
        np.array([f"{letter}{place + 1:02d}" for place in range(count)])
        for letter, count in zip("TAP", score.shape, strict=False)
    ]
    scores = pd.DataFrame(
        {
            "assessor": names[1][index[1]],
            "prototype": names[2][index[2]],
            "attribute": names[0][index[0]],
            "score": score.ravel(),
            "session": (index[3] + 1).astype(str),
        }
    )
    if missing:
        scores = scores.loc[~((scores["assessor"] == names[1][-1]) & (scores["session"] == str(r)))]
    tables = {
        "prototypes": pd.DataFrame({"prototype": names[2], "role": ["benchmark"] + ["prototype"] * (p - 1)}),
        "attributes": pd.DataFrame({"attribute": names[0], "target_high": limit_of(middle)}),
        "scores": scores.reset_index(drop=True),
    }
    return Study(tables), truth


def on_scale(mean: np.ndarray | float) -> np.ndarray:
    """Return the mean of normal scores about `mean` that stop at 0 and 100."""
    sd = np.hypot(VIEW_SD, SCATTER_SD)
    low, high = (0 - mean) / sd, (100 - mean) / sd
    inside = mean * (norm.cdf(high) - norm.cdf(low)) - sd * (norm.pdf(high) - norm.pdf(low))
    return np.asarray(inside + 100 * norm.sf(high))


def limit_of(middle: float) -> float:
    """Return where every window ends: the middle of the true means."""
    return middle if middle == LIMIT else float(on_scale(middle))


def stated_and_true(
    drawn: np.ndarray, truth: np.ndarray, edges: np.ndarray, apart_edges: np.ndarray
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Return stated chances and what is true, for single windows, all windows, and windows from the benchmark.

    `edges`, `apart_edges` (attributes, prototypes): highest mean, and highest difference from the first prototype.
    """
    met, is_met = drawn <= edges, truth <= edges
    below = (drawn - drawn[:, :, :1] <= apart_edges)[:, :, 1:]
    is_below = (truth - truth[:, :1] <= apart_edges)[:, 1:]
    return {
        "single": (met.mean(axis=0).ravel(), is_met.ravel()),
        "all": (met.all(axis=1).mean(axis=0), is_met.all(axis=0)),
        "difference": (below.mean(axis=0).ravel(), is_below.ravel()),
        "all differences": (below.all(axis=1).mean(axis=0), is_below.all(axis=0)),
    }


def calibration(studies: int, seed: int, *, near: bool = True, draws: int = 1000, **panel: Any) -> pd.DataFrame:
    """Return `question band stated true n std_error`; `near` puts the edges where the means came out."""
    rng = np.random.default_rng(seed)
    found: dict[str, list[tuple[np.ndarray, np.ndarray]]] = {}
    for _ in range(studies):
        study, truth = draw_study(rng, **panel)
        told = draw_panels(study, study.attributes, rng, draws=draws)
        edges, apart = np.full(truth.shape, limit_of(panel.get("middle", LIMIT))), np.full(truth.shape, -5.0)
        if near:
            edges = told.estimate + rng.uniform(-1, 3, truth.shape) * np.sqrt(told.own_variance)
            apart = told.estimate - told.estimate[:, :1] + rng.uniform(-1, 3, truth.shape) * np.sqrt(told.own_variance)
        for question, pair in stated_and_true(told.drawn, truth, edges, apart).items():
            found.setdefault(question, []).append(pair)
    return pd.DataFrame(list(_bands(found)), columns=["question", "band", "stated", "true", "n", "std_error"])


def _bands(found: Mapping[str, list[tuple[np.ndarray, np.ndarray]]]) -> Iterator[tuple[Any, ...]]:
    """Yield the rows; cases of one study go together, so that the error is that of shares over studies."""
    for question, pairs in found.items():
        for low, high in BANDS:
            cases = [
                (stated[inside], true[inside])
                for stated, true in pairs
                for inside in [(stated >= low) & (stated < high)]
            ]
            n = sum(len(stated) for stated, _ in cases)
            if n:
                stated, share = (float(np.concatenate(part).mean()) for part in zip(*cases, strict=True))
                off = np.array([(true - share).sum() for _, true in cases])
                yield question, f"{low:.2f}-{high:.2f}", stated, share, n, float(np.sqrt((off**2).sum())) / n


def winners_luck(studies: int, seed: int, **panel: Any) -> tuple[float, float, float, int]:
    """Return estimate / truth and shrunken / truth of differences told apart, with its standard error, and how many."""
    rng = np.random.default_rng(seed)
    sums = []
    for _ in range(studies):
        study, truth = draw_study(rng, **panel)
        found = find_differences(study)
        rows = found.without_luck[1]
        rows = rows.loc[rows["p_adjusted"] < 0.05]
        place = {name: number for number, name in enumerate(study.prototypes)}
        of = {name: number for number, name in enumerate(study.attributes)}
        side = np.sign(rows["estimate"].to_numpy())
        own = [
            truth[of[a], place[p]] - truth[of[a], place[v]]
            for a, p, v in rows[["attribute", "prototype", "versus"]].to_numpy()
        ]
        sums.append([(side * each).sum() for each in (rows["estimate"], rows["shrunken"], np.array(own))] + [len(rows)])
    estimate, shrunken, true, n = (np.array(part) for part in zip(*sums, strict=True))
    ratio = shrunken.sum() / true.sum()
    error = np.sqrt(((shrunken - ratio * true) ** 2).sum()) / true.sum()
    return float(estimate.sum() / true.sum()), float(ratio), float(error), int(n.sum())


PANELS: dict[str, dict[str, Any]] = {
    "SD 8, edges fixed": {"near": False},
    "SD 3, edges fixed": {"near": False, "spread": 3.0},
    "SD 8, edges near": {},
    "SD 3, edges near": {"spread": 3.0},
    "SD 3, 6 assessors x 2 sessions, edges fixed": {"near": False, "spread": 3.0, "assessors": 6, "sessions": 2},
    "SD 8, 6 assessors x 2 sessions, edges fixed": {"near": False, "assessors": 6, "sessions": 2},
    "SD 3, 6 assessors x 2 sessions, edges near": {"spread": 3.0, "assessors": 6, "sessions": 2},
    "SD 8, true means about 90 of 100, edges fixed": {"near": False, "middle": 90.0},
    "SD 3, true means about 90 of 100, edges fixed": {"near": False, "middle": 90.0, "spread": 3.0},
}


def main() -> None:
    """Print one table per kind of panel, then winner's luck."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    words = sys.argv[2] if len(sys.argv) > 2 else ""
    for name, panel in PANELS.items():
        if words not in name:
            continue
        table = calibration(studies, seed=20250311, **panel)
        ends = zip(table["stated"], table["true"], table["std_error"], table["n"], strict=True)
        shown = table.assign(
            shown=[f"{stated:.2f} -> {true:.3f} ({error:.3f}; {n})" for stated, true, error, n in ends]
        )
        wide = shown.pivot_table("shown", "band", "question", aggfunc="first", sort=False)
        print(f"\n{name}, {studies} studies: stated chance -> share that was true (standard error; cases)")
        print(wide.to_string(), flush=True)
    for spread in (3.0, 4.0, 8.0) if not words else ():
        raw, shrunken, error, n = winners_luck(studies, 20250312, spread=spread)
        ratios = f"estimate / truth {raw:.2f}, shrunken / truth {shrunken:.3f} ({error:.3f})"
        print(f"Told apart at SD {spread:g}: {n}; {ratios}", flush=True)


if __name__ == "__main__":
    main()
