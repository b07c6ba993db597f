"""Drawn studies that between them take ways the demo does not: for what is told of all of them by rule."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from panel.study.study import Study
from tests.blend_studies import mixture_formulas, scored
from tests.choice_studies import named_rows, right_rows, votes
from tests.formula_studies import CARBONATE, ISOSTEARATE, TRIGLYCERIDE, hand_cream_formulas
from tests.reading_studies import curves_table, flow_rows, force_rows, measured, readings_table
from tests.simulated_panels import STRONG, simulated_panel
from tests.studies import crossed_study
from tests.time_studies import everything_over_time

_PEOPLE = 36
_ANSWERS = ("assessor", "prototype", "question", "kind", "answer")


def consumers() -> Study:
    """Answers of 36 people to four prototypes: gaps, repeats, slips; terms hardly ticked; choices of every kind."""
    rng = np.random.default_rng(3)
    people, samples = [f"C{number:03d}" for number in range(_PEOPLE)], ["P1", "P2", "P4", "P8"]
    rows: list[tuple[str, str, str, str, str]] = []
    for place, sample in enumerate(samples):
        for number, person in enumerate(people):
            if (number + place) % 9 == 0:  # nobody tries them all
                continue
            liking = int(np.clip(rng.normal(6.2 + 0.2 * place, 1.4), 1, 9))
            rows.append((person, sample, "overall liking", "liking", str(liking)))
            rows.append((person, sample, "thickness", "just_about_right", str(int(rng.choice([1, 2, 3, 4, 5])))))
            rows.append((person, sample, "quickly absorbed", "just_about_right", str(3 if rng.random() < 0.9 else 2)))
            ticks = {"light": rng.random() < 0.2 + 0.2 * place, "rare": number < 2 - place, "always": True}
            rows += [(person, sample, term, "check_all", str(int(tick))) for term, tick in ticks.items()]
            rows.append((person, sample, "soft", "agreement", str(int(rng.choice([2, 4, 5], p=[0.2, 0.5, 0.3])))))
            rows.append((person, sample, "fresh", "agreement", "do not know" if number % 7 == 0 else "3"))
    rows += [("C001", "P2", "overall liking", "liking", "12"), ("C002", "P1", "overall liking", "liking", "9")]
    chosen = [
        right_rows("triangle", 15, 30, versus="P1", session="1"),
        right_rows("triangle", 24, 30, versus="P1", session="2", start=30),
        right_rows("tetrad", 20, 60, prototype="P2", versus="P1"),
        right_rows("duo_trio", 16, 30, versus="P1", question="again", session="1"),
        right_rows("duo_trio", 19, 30, versus="P1", question="again", session="2"),
        right_rows("three_afc", 3, 4, versus="P2", question="few"),
        named_rows("paired", ["P4"] * 11 + ["P1"] * 19, question="greasier"),
        named_rows("preference", votes(34, 12, 8), question="preferred"),
        named_rows("preference", ["P2"] * 20 + ["P1"] * 19, prototype="P2", question="preferred"),
        named_rows("preference", ["P8"] * 14 + ["P1"] * 16, prototype="P8", question="twice", session="1"),
        named_rows("preference", ["P8"] * 14 + ["P1"] * 16, prototype="P8", question="twice", session="2"),
    ]
    questions = [
        {"question": "triangle", "kind": "triangle", "similar_below": 0.3},
        {"question": "tetrad", "kind": "tetrad", "similar_below": 0.4},
        {"question": "again", "kind": "duo_trio", "d_prime_below": 1.0},
        {"question": "thickness", "kind": "just_about_right", "low_end": "much too thin", "high_end": "much too thick"},
    ]
    roles = ["benchmark", "prototype", "prototype", "prototype"]
    tables = {
        "prototypes": pd.DataFrame({"prototype": samples, "name": "", "role": roles}),
        "answers": pd.concat([pd.DataFrame(rows, columns=list(_ANSWERS)), *chosen], ignore_index=True).fillna(
            {"versus": "", "session": "", "replicate": ""}
        ),
    }
    return Study(tables, {"questions": questions, "benchmark": "P1"})


def over_time() -> Study:
    """Scores at three times, courses and dominance evaluations."""
    return everything_over_time()


def blends() -> Study:
    """Ten blends of three emollients with windows, readings with partners, curves, and one gate."""
    rng = np.random.default_rng(8)
    formulas = mixture_formulas()
    shares = np.array(
        [[blend.get(name, 0) for name in (CARBONATE, TRIGLYCERIDE, ISOSTEARATE)] for blend in formulas.values()]
    )
    greasy, soft = 30 + shares @ [0.2, 1.5, 3.0], 50 + shares @ [1.0, 0.5, -0.5]
    names = list(formulas)
    readings = readings_table(
        [
            {"prototype": name, "measure": measure, "unit": unit, "value": value * np.exp(rng.normal(0, 0.04))}
            | {"batch": f"{name}-1", "repeat": repeat, "temperature_c": 25.0 if name != "M2" else 31.0}
            for measure, unit, of in (("paper blot", "mg", greasy / 10), ("gloss", "GU", soft[::-1] / 3))
            for name, value in zip(names, of, strict=True)
            for repeat in "12"
            if (measure, name) != ("gloss", "M3")
        ]
    )
    study = scored(formulas, [greasy, soft], ["GREASE", "SOFT"], noise=4.0)
    attributes = pd.DataFrame(
        {"attribute": ["GREASE", "SOFT"], "name": ["greasy film", "softness"], "stage": ["after-feel", "rub-out"]}
    ).assign(
        scale_min=0.0, scale_max=100.0, direction=["less", "more"], target_low=[np.nan, 55.0],
        target_high=[45.0, 75.0], weight=[2.0, np.nan], must_have=["yes", ""], partner=["paper blot", "friction"],
    )  # fmt: skip
    curves = curves_table(
        flow_rows(rng, "M1"), flow_rows(rng, "M2", yield_stress=0.0), flow_rows(rng, "M4", lowest=5.0, scatter=0.3),
        force_rows("M1"), force_rows("M2", size=90.0), force_rows("M5", pull=0.0),
    )  # fmt: skip
    facts = {"scale_min": 0, "scale_max": 100, "gates": {"volatile_share": [None, 0.4]}}
    tables = {**study.tables, "attributes": attributes, "readings": readings, "curves": curves}
    return Study(tables, facts)


def five_points() -> Study:
    """A scale from 1 to 5 with ties, incomplete blocks, two batches of each, windows, and a set order of testing."""
    rng = np.random.default_rng(5)
    study = crossed_study(rng, assessors=9, prototypes=5, attributes=5, sessions=2, difference_sd=14.0)
    scores = study.scores
    place, who = scores["prototype"].str[1:].astype(int), scores["assessor"].str[1:].astype(int)
    scores = scores.assign(
        score=np.clip(np.rint(1 + scores["score"] / 20), 1, 5),
        batch=scores["prototype"] + "-" + scores["session"],
        position=((place + who) % 5 + 1).astype(float),
    )
    scores = scores.loc[(place + who) % 5 != 0].reset_index(drop=True)
    attributes = study.table("attributes").assign(
        scale_min=1.0, scale_max=5.0, direction=["more", "less", "target", "describe", ""],
        test_order=[1, 2, 2, 3, np.nan],
        target_low=[3.0, np.nan, 2.0, np.nan, np.nan], target_high=[np.nan, 2.5, 2.5, np.nan, np.nan],
    )  # fmt: skip
    batches = [(f"{name}-{session}", name) for name in study.prototypes for session in "12"]
    tables = {
        **study.tables, "scores": scores, "attributes": attributes,
        "batches": pd.DataFrame(batches, columns=["batch", "prototype"]).assign(made_on="2025-03-10"),
    }  # fmt: skip
    planned = [{"prototype": "P02", "versus": "P01", "attribute": "T01"}]
    facts = {
        "scale_min": 1,
        "scale_max": 5,
        "benchmark": "P01",
        "margin": 1,
        "tolerance": 1,
        "planned_differences": planned,
    }
    return Study(tables, facts)


def quirks() -> Study:
    """A panel of which one uses a scale backwards, one scatters, one hardly uses the scale, and one left a session."""
    study = simulated_panel(
        np.random.default_rng(2), assessors=7, prototypes=6, replicates=3, sessions=True,
        scale={(STRONG, 0): -1.0}, scatter={1: 2.5}, narrow={2: 0.1},
    )  # fmt: skip
    scores = study.scores
    left = (scores["assessor"] == "A06") & (scores["session"] == "3")
    return replace(study, tables={**study.tables, "scores": scores.loc[~left].reset_index(drop=True)})


def alike() -> Study:
    """Two prototypes that do not differ, on two attributes."""
    return crossed_study(
        np.random.default_rng(1), assessors=6, prototypes=2, attributes=2, sessions=2, difference_sd=0.0
    )


def swaps() -> Study:
    """Eight hand creams of three swaps: readings with partners, no windows, one prototype of another session."""
    rng = np.random.default_rng(4)
    formulas = hand_cream_formulas()
    runs = np.array([[run >> slot & 1 for slot in range(3)] for run in range(8)], dtype=float)
    truth = 50 + np.array([[-15.0, -8.0, 7.0], [0.0, 6.0, 14.0]]) @ runs.T
    truth[0] += 12 * runs[:, 0] * runs[:, 1]
    study = scored(formulas, truth, ["GREASE", "SOFT"])
    attributes = pd.DataFrame(
        {"attribute": ["GREASE", "SOFT"], "name": ["greasy film", "softness"], "partner": ["paper blot", "gloss"]}
    )
    return Study({**study.tables, "attributes": attributes, "readings": measured(rng)}, {"batch_sd": 2.0})


def unevenly_served() -> Study:
    """Return a panel of whom five of seven were served in one order, and what comes late is scored lower."""
    study = crossed_study(np.random.default_rng(6), assessors=7, prototypes=4, attributes=3, sessions=2)
    scores = study.scores
    place, person = (scores[name].str[1:].astype(int) for name in ("prototype", "assessor"))
    position = place.where(person <= 5, 1 + (place + person) % 4).astype(float)
    return replace(
        study, tables={**study.tables, "scores": scores.assign(position=position, score=scores["score"] - 3 * position)}
    )


def seconds() -> Study:
    """Eight hand creams timed in seconds and scored on a short scale, with windows, a benchmark and a margin."""
    rng = np.random.default_rng(7)
    formulas = hand_cream_formulas()
    runs = np.array([[run >> slot & 1 for slot in range(3)] for run in range(8)], dtype=float)
    truth = np.array([[-15.0, -8.0, 7.0], [-20.0, 6.0, 14.0]]) @ runs.T + [[50.0], [120.0]]
    study = scored(formulas, truth, ["GREASE", "SOAK"])
    short = study.scores["attribute"] == "GREASE"
    scores = study.scores.assign(score=study.scores["score"].where(~short, (study.scores["score"] / 10).clip(0, 10)))
    attributes = pd.DataFrame(
        {"attribute": ["GREASE", "SOAK"], "name": ["greasy film", "time to soak in"], "stage": ["pick-up", "rub-out"]}
    ).assign(
        scale_min=0.0, scale_max=[10.0, 300.0], direction="less", target_low=np.nan, target_high=[4.5, 110.0],
        unit=["", "s"],
    )  # fmt: skip
    tables = {**study.tables, "scores": scores, "attributes": attributes, "readings": measured(rng)}
    return Study(tables, {"benchmark": "P1", "margin": 1.0})


DRAWN: dict[str, Any] = {
    "consumers": consumers,
    "over time": over_time,
    "blends": blends,
    "five points": five_points,
    "quirks": quirks,
    "alike": alike,
    "swaps": swaps,
    "unevenly served": unevenly_served,
    "seconds": seconds,
}
