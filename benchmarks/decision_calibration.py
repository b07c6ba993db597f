"""Do the chances of meeting target windows come true? Panels with known truth, drawn anew many times.

    .venv/bin/python -m benchmarks.decision_calibration [studies]

For each band of stated chances the table shows in what share of the cases the truth was inside: for single windows, for
all windows of a prototype together, and for windows read as differences from the benchmark. `edges near`: the edge of
each window lies anywhere near where the mean came out, so that nothing is known of the truth beforehand; here a right
method must come true. `edges fixed`: all edges stand at 50 and true means lie about them with a standard deviation of
8, as prototypes do; a prototype that came out well was then lucky a little, which no chance from its own scores alone
can know. Beside it stands what drawing whole assessors with replacement (a plain bootstrap of their means) would have
said.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from panel.models.decision.profile import draw_panels
from panel.models.prototypes.panel_design import assessor_means
from panel.study.study import Study

BANDS = ((0.02, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.98))
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
) -> tuple[Study, np.ndarray]:
    """Return a study and its true means (attributes, prototypes), spread about the limit.

    `halo` is the share of the variance of views and scatter that all attributes of one sample have in common; with
    `missing` the last assessor stays away from the last session.
    """
    a, p, q, r = assessors, prototypes, attributes, sessions
    truth = LIMIT + rng.normal(0, spread, (q, p))

    def shared(sd: float, *shape: int) -> np.ndarray:
        own, common = rng.standard_normal((q, *shape)), rng.standard_normal((1, *shape))
        return sd * (np.sqrt(1 - halo) * own + np.sqrt(halo) * common)

    score = (
        truth[:, None, :, None]
        + rng.normal(0, LEVEL_SD, (1, a, 1, 1))
        + rng.normal(0, ATTRIBUTE_LEVEL_SD, (q, a, 1, 1))
    )
    score = score + shared(VIEW_SD, a, p, 1) + rng.normal(0, SITTING_SD, (q, a, 1, r)) + shared(SCATTER_SD, a, p, r)
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
        "attributes": pd.DataFrame({"attribute": names[0], "target_high": LIMIT}),
        "scores": scores.reset_index(drop=True),
    }
    return Study(tables), truth


def plain_bootstrap(
    study: Study, attributes: tuple[str, ...], prototypes: tuple[str, ...], draws: int, rng: np.random.Generator
) -> np.ndarray:
    """Return draws (draws, attributes, prototypes) of means over assessors drawn with replacement."""
    cells = assessor_means(study.table("scores").assign(replicate=""), prototypes, attributes)
    times = rng.multinomial(len(cells), np.full(len(cells), 1 / len(cells)), draws) / len(cells)
    return np.einsum("na,apq->nqp", times, cells)


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


def calibration(
    studies: int, seed: int, *, near: bool = True, bootstrap: bool = True, draws: int = 1000, **panel: Any
) -> pd.DataFrame:
    """Return `draws_by question band stated true n std_error`; `near` puts the edges where the means came out."""
    rng = np.random.default_rng(seed)
    found: dict[tuple[str, str], list[tuple[np.ndarray, np.ndarray]]] = {}
    for _ in range(studies):
        study, truth = draw_study(rng, **panel)
        told = draw_panels(study, study.attributes, rng, draws=draws)
        edges, apart = np.full(truth.shape, LIMIT), np.full(truth.shape, -5.0)
        if near:
            edges = told.estimate + rng.uniform(-1, 3, truth.shape) * told.std_error
            apart = told.estimate - told.estimate[:, :1] + rng.uniform(-1, 3, truth.shape) * told.std_error
        ways = {"model": told.drawn}
        if bootstrap:
            ways["bootstrap"] = plain_bootstrap(study, told.attributes, told.prototypes, draws, rng)
        for way, drawn in ways.items():
            for question, pair in stated_and_true(drawn, truth, edges, apart).items():
                found.setdefault((way, question), []).append(pair)
    return pd.DataFrame(
        list(_bands(found)), columns=["draws_by", "question", "band", "stated", "true", "n", "std_error"]
    )


def _bands(found: Mapping[tuple[str, str], list[tuple[np.ndarray, np.ndarray]]]) -> Iterator[tuple[Any, ...]]:
    for (way, question), pairs in found.items():
        stated, true = (np.concatenate(part) for part in zip(*pairs, strict=True))
        for low, high in BANDS:
            inside = (stated >= low) & (stated < high)
            n = int(inside.sum())
            if n:
                share = float(true[inside].mean())
                error = float(np.sqrt(share * (1 - share) / n))
                yield way, question, f"{low:.2f}-{high:.2f}", float(stated[inside].mean()), share, n, error


PANELS: dict[str, dict[str, Any]] = {
    "10 assessors x 3 sessions, edges near": {},
    "6 assessors x 2 sessions, edges near": {"assessors": 6, "sessions": 2},
    "10 assessors x 3 sessions, strong halo, edges near": {"halo": 0.7},
    "10 assessors x 3 sessions, edges fixed": {"near": False},
}


def main() -> None:
    """Print one table per kind of panel."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for name, panel in PANELS.items():
        table = calibration(studies, seed=20250311, **panel)
        ends = zip(table["stated"], table["true"], table["std_error"], strict=True)
        shown = table.assign(shown=[f"{stated:.3f} -> {true:.3f} ({error:.3f})" for stated, true, error in ends])
        wide = shown.pivot_table("shown", ["question", "band"], "draws_by", aggfunc="first", sort=False)
        print(f"\n{name}, {studies} studies: stated chance -> share that was true (standard error)")
        print(wide.to_string(), flush=True)


if __name__ == "__main__":
    main()
