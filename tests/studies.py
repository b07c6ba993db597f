"""Small invented studies for tests: numbers are drawn with a fixed seed, so that every run sees the same."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from panel.study.study import Study

PROTOTYPES = ("P1", "P2", "P3", "P4")
ASSESSORS = ("A01", "A02", "A03", "A04")
ATTRIBUTES = ("RO_ABS", "AF_STICK", "AF_GREASE")
SESSIONS = ("1", "2")

# effect of the swap in the fast slot (P2, P4) and in the medium slot (P3, P4) on the base P1
BASE = np.array([44.0, 34.0, 52.0])
FAST = np.array([14.0, -4.0, -15.0])
MEDIUM = np.array([5.0, -9.0, -8.0])
TRUTH = np.stack([BASE, BASE + FAST, BASE + MEDIUM, BASE + FAST + MEDIUM])

_REST_OF_FORMULA = (
    ("Aqua", 75.85, "A", "other"),
    ("Glycerin", 6.00, "A", "humectant"),
    ("Xanthan Gum", 0.30, "A", "structurant"),
    ("Disodium EDTA", 0.10, "A", "other"),
    ("Glyceryl Stearate Citrate", 3.00, "B", "emulsifier"),
    ("Cetearyl Alcohol", 2.50, "B", "structurant"),
    ("Tocopherol", 0.20, "B", "other"),
    ("Phenoxyethanol", 0.90, "C", "other"),
    ("Ethylhexylglycerin", 0.10, "C", "other"),
    ("Citric Acid", 0.05, "C", "other"),
)
_FAST_SLOT = {"P1": "Dicaprylyl Carbonate", "P2": "C13-15 Alkane"}
_MEDIUM_SLOT = {"P1": "Caprylic/Capric Triglyceride", "P3": "Isopropyl Isostearate"}
_ORDERS = (("P1", "P2", "P4", "P3"), ("P2", "P3", "P1", "P4"), ("P3", "P4", "P2", "P1"), ("P4", "P1", "P3", "P2"))
_CODES = {"1": ("417", "682", "935", "264"), "2": ("753", "149", "528", "896")}
_FIRST_SCORE = {"1": "2025-03-13T10:00", "2": "2025-03-14T10:00"}


def small_study(facts: dict[str, Any] | None = None, **tables: pd.DataFrame | None) -> Study:
    """Return a clean study of 4 prototypes, 4 assessors, 3 attributes and 2 sessions: 96 scores from 0 to 100.

    The formulas are a plan of two swaps (P2: fast slot, P3: medium slot, P4: both), 11 % emollients. Every
    prototype has one batch, made on one of two days that go with neither swap. Each assessor tries the prototypes
    in the order of one row of a Williams square, under new codes in each session.

    Parameters
    ----------
    facts
        Added to the facts of the study, in place of those of the same name.
    tables
        Take the place of the table of that name; None leaves the table out.
    """
    made: dict[str, pd.DataFrame] = {
        "prototypes": _prototypes(),
        "batches": _batches(),
        "formulas": _formulas(),
        "attributes": _attributes(),
        "assessors": pd.DataFrame({"assessor": ASSESSORS, "kind": "trained", "group": "", "avoid": ""}),
        "servings": _servings(),
        "scores": _scores(),
    }
    kept = {name: frame for name, frame in (made | tables).items() if frame is not None}
    about = {"title": "Two swaps in a hand cream", "purpose": "less greasy", "scale_min": 0, "scale_max": 100}
    return Study(kept, about | (facts or {}))


def crossed_study(
    rng: np.random.Generator,
    *,
    assessors: int = 10,
    prototypes: int = 8,
    attributes: int = 14,
    sessions: int = 3,
    difference_sd: float = 10.0,
) -> Study:
    """Return a study of any size with one score for each assessor, prototype, attribute and session, and no faults.

    The attribute means of the prototypes differ with `difference_sd`; assessors differ in level (SD 6), in how
    they see each prototype (SD 5) and from session to session (SD 1.5); the residual has SD 8, on a 0-100 scale.
    """
    shape = (assessors, prototypes, attributes, sessions)
    score = 50 + rng.normal(0, difference_sd, (1, prototypes, attributes, 1))
    score = score + rng.normal(0, 6, (assessors, 1, 1, 1)) + rng.normal(0, 5, (assessors, prototypes, attributes, 1))
    score = score + rng.normal(0, 1.5, (assessors, 1, 1, sessions)) + rng.normal(0, 8, shape)
    names = [
        np.array([f"{letter}{number + 1:02d}" for number in range(count)])
        for letter, count in zip("APT", shape, strict=False)
    ]
    index = np.indices(shape).reshape(4, -1)
    scores = pd.DataFrame(
        {
            "assessor": names[0][index[0]],
            "prototype": names[1][index[1]],
            "attribute": names[2][index[2]],
            "score": np.clip(score, 0.1, 99.9).round(1).ravel(),
            "session": (index[3] + 1).astype(str),
        }
    )
    tables = {
        "prototypes": pd.DataFrame({"prototype": names[1]}),
        "attributes": pd.DataFrame({"attribute": names[2]}),
        "scores": scores,
    }
    return Study(tables, {"scale_min": 0, "scale_max": 100})


def _prototypes() -> pd.DataFrame:
    names = ("base", "base, fast slot swapped", "base, medium slot swapped", "base, both slots swapped")
    roles = ("benchmark", "prototype", "prototype", "prototype")
    return pd.DataFrame({"prototype": PROTOTYPES, "name": names, "role": roles, "note": ""})


def _batches() -> pd.DataFrame:
    early, late = "2025-03-10T10:00", "2025-03-11T10:00"
    return pd.DataFrame(
        {
            "batch": [f"{prototype}-1" for prototype in PROTOTYPES],
            "prototype": PROTOTYPES,
            "made_on": [early, late, late, early],
            "tested_on": _FIRST_SCORE["1"],
            "size_g": 500.0,
            "ph": [5.41, 5.44, 5.39, 5.46],
            "viscosity_mpa_s": [24000.0, 20600.0, 22500.0, 19400.0],
            "viscosity_method": "disc spindle, 10 rpm, 25 C, 1 min",
            "note": "",
        }
    )


def _formulas() -> pd.DataFrame:
    rows = []
    for prototype in PROTOTYPES:
        fast = _FAST_SLOT["P2" if prototype in ("P2", "P4") else "P1"]
        medium = _MEDIUM_SLOT["P3" if prototype in ("P3", "P4") else "P1"]
        lines = (*_REST_OF_FORMULA, (fast, 6.00, "B", "emollient"), (medium, 5.00, "B", "emollient"))
        rows += [(prototype, *line) for line in lines]
    return pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "phase", "kind"])


def _attributes() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "attribute": ATTRIBUTES,
            "name": ("speed of soaking-in", "stickiness", "greasy film"),
            "stage": ("rub-out", "after-feel", "after-feel"),
            "minutes": (0.0, 2.0, 2.0),
            "low_end": ("very slow", "none", "none"),
            "high_end": ("very fast", "strong", "very greasy"),
            "scale_min": 0.0,
            "scale_max": 100.0,
            "direction": ("more", "less", "less"),
        }
    )


def _servings() -> pd.DataFrame:
    rows = []
    for turn, session in enumerate(SESSIONS):
        for person, assessor in enumerate(ASSESSORS):
            for place, prototype in enumerate(_ORDERS[(person + turn) % 4]):
                code = _CODES[session][PROTOTYPES.index(prototype)]
                site = f"{'left' if place < 2 else 'right'} forearm"
                rows.append((session, assessor, float(place + 1), prototype, code, site))
    return pd.DataFrame(rows, columns=["session", "assessor", "position", "prototype", "code", "site"])


def _scores() -> pd.DataFrame:
    rng = np.random.default_rng(20250311)
    level = rng.normal(0, 6, len(ASSESSORS))
    taste = rng.normal(0, 3, (len(ASSESSORS), *TRUTH.shape))
    rows = []
    for session, assessor, position, prototype, _, _ in _servings().itertuples(index=False):
        person, sample = ASSESSORS.index(assessor), PROTOTYPES.index(prototype)
        noise = rng.normal(0, 5, len(ATTRIBUTES))
        score = np.clip(TRUTH[sample] + level[person] + taste[person, sample] + noise, 1, 99).round(1)
        began = np.datetime64(_FIRST_SCORE[session]) + np.timedelta64(int(15 * (position - 1)), "m")
        rows += [
            (assessor, prototype, attribute, value, session, "", position, f"{prototype}-1", str(began), "ballot")
            for attribute, value in zip(ATTRIBUTES, score.tolist(), strict=True)
        ]
    columns = ["assessor", "prototype", "attribute", "score", "session", "replicate", "position", "batch"]
    return pd.DataFrame(rows, columns=[*columns, "recorded_at", "source"]).assign(flag="", raw_line=float("nan"))
