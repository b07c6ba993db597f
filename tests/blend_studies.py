"""Studies with formulas and scores of known truth: swaps of the invented hand cream, blends that vary continuously."""

from pathlib import Path

import numpy as np

from panel.study.open_study import open_study
from tests.formula_studies import BASE, CARBONATE, ISOSTEARATE, TRIGLYCERIDE, hand_cream_formulas, scores_of, study_of

DEMO = open_study(Path(__file__).resolve().parents[1] / "data_demo" / "reading_room")
ASSESSORS, SESSIONS = 10, 3
RUNS = np.array([[run >> slot & 1 for slot in range(3)] for run in range(8)], dtype=float)


def panel_scores(truth, seed=1, noise=6.0, interaction=3.0):
    """Scores (assessors x sessions x attributes x prototypes) around true means (attributes x prototypes)."""
    rng = np.random.default_rng(seed)
    shape = (ASSESSORS, SESSIONS, *np.shape(truth))
    values = np.asarray(truth, float) + rng.normal(0, noise, shape)
    values = values + rng.normal(0, interaction, (ASSESSORS, 1, *shape[2:]))
    return values + rng.normal(0, 6, (ASSESSORS, 1, shape[2], 1))


def scored(formulas, truth, attributes=None, seed=1, noise=6.0, kinds=None, interaction=3.0, **tables):
    """A study of these formulas with scores around these true means (attributes x prototypes)."""
    prototypes = list(formulas)
    rows = scores_of(panel_scores(truth, seed, noise, interaction), prototypes, attributes)
    return study_of(formulas, kinds, scores=rows, **tables)


def hand_cream(effects, base=50.0, kept=range(8), attributes=None, **how):
    """Some of the eight hand creams; `effects` is attributes x 3, what each swap does; rows of truth follow from it."""
    formulas = hand_cream_formulas()
    names = [list(formulas)[run] for run in kept]
    truth = base + np.asarray(effects, float) @ RUNS[list(kept)].T
    return scored({name: formulas[name] for name in names}, truth, attributes, **how)


SHARES = np.array(
    [
        *np.eye(3),
        (0.5, 0.5, 0),
        (0.5, 0, 0.5),
        (0, 0.5, 0.5),
        (1 / 3, 1 / 3, 1 / 3),
        (2 / 3, 1 / 6, 1 / 6),
        (1 / 6, 2 / 3, 1 / 6),
        (1 / 6, 1 / 6, 2 / 3),
    ]
)


def mixture_formulas(shares=SHARES, total=12.0, filler=None):
    """Formulas in which three emollients share `total` % of the formula; water keeps the sum at 100."""
    rest = {name: amount for name, amount in BASE.items() if name != "Aqua"}
    made = {}
    for number, row in enumerate(np.asarray(shares)):
        amounts = np.round(row * (total if filler is None else filler[number]), 2)
        lines = dict(zip((CARBONATE, TRIGLYCERIDE, ISOSTEARATE), amounts.tolist(), strict=True))
        lines = {name: amount for name, amount in lines.items() if amount > 0}
        made[f"M{number + 1}"] = rest | lines | {"Aqua": round(100 - sum(rest.values()) - sum(lines.values()), 2)}
    return made
