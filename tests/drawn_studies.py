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
from tests.studies import crossed_study, small_study
from tests.time_studies import course_rows, dominance_rows, everything_over_time

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


def gated() -> Study:
    """Two swaps with every gate, windows, claims, costs, two groups of assessors, and holes in the scores."""
    study = small_study()
    scores, people = study.scores, study.table("assessors")
    lost = (scores["assessor"] == "A02") & (scores["attribute"] == "AF_STICK") & (scores["prototype"] != "P1")
    attributes = study.table("attributes").assign(
        target_low=[55.0, np.nan, 15.0],
        target_high=[95.0, 45.0, 40.0],
        weight=[1.0, 2.0, 1.0],
        must_have=["", "", "yes"],
    )
    batches = study.table("batches")
    second = batches.iloc[[1, 2]].assign(
        batch=["P2-2", "P3-2"], ph=[5.52, np.nan], made_on="2025-03-12", note="scaled up"
    )
    held = ("Dicaprylyl Carbonate", "C13-15 Alkane", "Caprylic/Capric Triglyceride", "Isopropyl Isostearate")
    cost = pd.DataFrame({"ingredient": held, "property": "cost", "value": [4.0, 9.0, 3.0, 5.0], "unit": "EUR/kg"})
    claims = pd.DataFrame(
        [
            ("less greasy than the base", "superiority", "P4", "P1", "AF_GREASE", "maker", "pack", "EU", "1", np.nan),
            ("soaks in as fast as the base", "parity", "P2", "P1", "RO_ABS", "", "web", "", "1", 8.0),
            ("not stickier than the base", "non_inferiority", "P3", "P1", "AF_STICK", "agency", "", "UK", "2", 8.0),
        ],
        columns=[
            "claim",
            "kind",
            "prototype",
            "versus",
            "attribute",
            "owner",
            "media",
            "territory",
            "family",
            "margin",
        ],
    )
    tables = {
        "attributes": attributes, "scores": scores.loc[~lost].reset_index(drop=True), "claims": claims,
        "batches": pd.concat([batches, second], ignore_index=True),
        "assessors": people.assign(group=["north", "north", "south", "south"], avoid=["", "tree nut", "", ""]),
        "ingredient_values": cost.assign(measured_on="2025-03-01", source="invented"),
    }  # fmt: skip
    stable = {"P2": {"outcome": "passed", "who": "B", "date": "2025-03-01", "document": "S1"}}
    stable |= {"P1": {"outcome": "failed"}, "P3": {"outcome": "running", "who": "B", "date": "2025-03-01"}}
    facts = {
        "gates": {
            "ph": [5.3, 5.5], "viscosity_mpa_s": [20000, None], "volatile_share": [None, 0.5], "cost": [None, 80],
            "solid_share": [None, 0.3], "free_of": ["Isopropyl Isostearate", "tree nut"], "stability": True,
        },
        "stability": stable, "benchmark": "P1", "margin": 5, "dose": "40 mg", "windows_read_as": "panel",
    }  # fmt: skip
    return small_study(facts, **tables)


def chosen() -> Study:
    """Three prototypes far apart, of which one meets every window, read as differences from the benchmark."""
    rng = np.random.default_rng(12)
    study = crossed_study(rng, assessors=8, prototypes=3, attributes=2, sessions=2, difference_sd=0.0)
    moved = {("P02", "T01"): -20.0, ("P02", "T02"): 18.0, ("P03", "T01"): 12.0, ("P03", "T02"): 18.0}
    scores = study.scores
    keys = zip(scores["prototype"], scores["attribute"], strict=True)
    scores = scores.assign(score=(scores["score"] + [moved.get(key, 0.0) for key in keys]).clip(0, 100))
    attributes = study.table("attributes").assign(
        name=["greasy film", "softness"], stage=["after-feel", "rub-out"], scale_min=0.0, scale_max=100.0,
        direction=["less", "more"], target_low=[np.nan, 55.0], target_high=[42.0, np.nan], must_have="yes",
    )  # fmt: skip
    level = scores.loc[scores["prototype"] == "P01"].groupby("attribute")["score"].mean().round(1).to_dict()
    facts = {"benchmark": "P01", "margin": 6, "windows_read_as": "benchmark", "benchmark_levels": level}
    planned = [{"prototype": "P02", "versus": "P01", "attribute": "T01"}, {"prototype": "P03", "versus": "P02"}]
    tables = {**study.tables, "scores": scores, "attributes": attributes}
    return Study(tables, {**study.facts, **facts, "planned_differences": planned, "tolerance": 5})


def gaps() -> Study:
    """One session: an attribute of one person, a constant one, one in two sets, one with a prototype that few had."""
    study = crossed_study(np.random.default_rng(9), assessors=7, prototypes=5, attributes=6, sessions=1)
    scores = study.scores
    who, what, of = scores["assessor"], scores["prototype"], scores["attribute"]
    early, first = who.isin(["A01", "A02", "A03"]), what.isin(["P01", "P02"])
    lost = ((of == "T01") & (who != "A01")) | ((of == "T03") & (early != first))
    lost |= (of == "T04") & (who == "A02") & (what != "P01")
    lost |= (of == "T05") & (what == "P05") & ~who.isin(["A03", "A04"])
    held = scores.assign(score=scores["score"].where(of != "T02", 40.0)).loc[~lost]
    attributes = study.table("attributes").assign(
        scale_min=0.0, scale_max=[100.0, 100.0, 100.0, 100.0, 100.0, 150.0], name=[f"sense {n}" for n in range(6)]
    )
    planned = [{"prototype": "P02", "versus": "P01", "attribute": name} for name in ("T01", "T03", "T06")]
    tables = {**study.tables, "scores": held.reset_index(drop=True), "attributes": attributes}
    return Study(tables, {"planned_differences": planned, "benchmark": "P02", "margin": 7})


def troubled() -> Study:
    """Blind duplicates in each session; one drifts, one uses a scale backwards, two scatter, one hardly uses it."""
    study = simulated_panel(
        np.random.default_rng(15), assessors=8, prototypes=5, replicates=6, scale={(STRONG, 3): -2.0, (8, 4): -1.5},
        scatter={6: 2.5}, narrow={5: 0.05},
    )  # fmt: skip
    scores = study.scores
    turn = scores["replicate"].astype(int)
    session = ((turn + 1) // 2).astype(str)
    moved = np.where(scores["assessor"] == "A01", 9.0 * (turn - 3), 0.0)
    wild = (scores["assessor"] == "A02") & (scores["attribute"] == "T08")
    moved += np.where(wild, np.random.default_rng(16).normal(0, 30, len(scores)), 0.0)
    kept = turn.le(2) | scores["prototype"].isin(["P1", "P2"]) | (turn % 2 == 0)
    kept &= ((scores["assessor"] != "A05") | (session != "3")) & (scores["attribute"] >= "T08")  # one left early
    told = scores.assign(session=session, replicate="", score=(scores["score"] + moved).clip(0, 100))
    return replace(study, tables={**study.tables, "scores": told.loc[kept].reset_index(drop=True)})


def tied() -> Study:
    """Formulas of which no two differ by one swap: two at once, water for emollient, the same twice, one unknown."""
    made = hand_cream_formulas()
    water = made["P1"] | {"Aqua": made["P1"]["Aqua"] + 2.0, CARBONATE: made["P1"][CARBONATE] - 2.0}
    formulas = {"P1": made["P1"], "P2": made["P4"], "P3": dict(made["P1"]), "P4": water, "P5": made["P4"]}
    formulas["P5"] = made["P7"] | {"Unknown Ester": 0.5, "Aqua": 71.35}
    study = scored(formulas, np.array([[50, 30, 50, 45, 58], [40, 52, 41, 43, 44.0]]), ["GREASE", "SOFT"], noise=5.0)
    lines = study.table("formulas")
    hole = (lines["prototype"] == "P5") & (lines["ingredient"] == "Glycerin")
    tables = {**study.tables, "formulas": lines.assign(percent=lines["percent"].mask(hole))}
    return Study(tables, {"margin": 6.0, "benchmark": "P1"})


def two_tried() -> Study:
    """Thirty consumers of two prototypes: one is liked better, too thick and too dark; one statement, few guesses."""
    rng = np.random.default_rng(17)
    rows: list[tuple[str, str, str, str, str]] = []
    for number in range(40):
        who = f"C{number:03d}"
        for sample, mean in (("P1", 5.0), ("P2", 7.4)):
            liking = 6 if number < 3 else int(np.clip(rng.normal(mean, 0.9), 1, 9))
            thick = 5 if sample == "P1" and liking < 6 else 3
            shine = 1 if sample == "P1" and liking < 5 else 3
            rows.append((who, sample, "overall liking", "liking", str(liking)))
            rows.append((who, sample, "thickness", "just_about_right", str(thick)))
            rows.append((who, sample, "shine", "just_about_right", str(shine)))
            rows.append((who, sample, "odour strength", "just_about_right", "4" if rng.random() < 0.4 else "3"))
            rows.append((who, sample, "light", "check_all", str(int(sample == "P2" or number % 5 == 0))))
        if number < 36:
            rows.append((who, "P2", "soft", "agreement", "5" if number else "1"))
    rows += [("C040", "P1", "overall liking", "liking", "good"), ("C041", "P2", "overall liking", "liking", "n/a")]
    chosen_rows = [
        right_rows("triangle", 3, 4, prototype="P2", versus="P1"),
        named_rows("preference", ["P2"] * 31 + ["P1"] * 9, prototype="P2", question="preferred"),
    ]
    both = pd.DataFrame({"prototype": ["P1", "P2"], "name": "", "role": ["benchmark", "prototype"]})
    answers = pd.concat([pd.DataFrame(rows, columns=list(_ANSWERS)), *chosen_rows], ignore_index=True)
    filled = answers.fillna({"versus": "", "session": "", "replicate": ""})
    return Study({"prototypes": both, "answers": filled}, {"benchmark": "P1", "liking_margin": 0.5})


def unliked() -> Study:
    """Answers without liking: a scale of which nobody uses an end, only ticks, untrue statements, and odd answers."""
    rng = np.random.default_rng(18)
    rows: list[tuple[str, str, str, str, str]] = []
    for number in range(24):
        who = f"C{number:03d}"
        for place, sample in enumerate(("P1", "P2", "P3")):
            rows.append((who, sample, "thickness", "just_about_right", str(int(rng.choice([1, 2, 3, 4, 5])))))
            rows.append((who, sample, "greasiness", "just_about_right", str(int(rng.choice([3, 4, 5])))))
            rows += [(who, sample, term, "check_all", "1") for term in ("light", "rich") if rng.random() < 0.5]
            rows.append((who, sample, "cures eczema", "agreement", str(int(rng.choice([1, 2, 2, 4])))))
            rows.append((who, sample, "rinsed well", "agreement", "yes" if place else "no"))
    rows += [("C001", "P1", "thickness", "just_about_right", "9"), ("C002", "P2", "thickness", "just_about_right", "1")]
    chosen_rows = [
        named_rows("preference", votes(60, 30, 30), question="preferred"),
        named_rows("preference", ["P2"] * 26 + ["P1"] * 25 + ["no preference"] * 300, prototype="P2", question="alike"),
        named_rows("paired", ["P4"] * 4 + ["P1"], question="softer"),
        right_rows("two_afc", 0, 12, question="none right"),
        right_rows("tetrad", 2, 12, question="hardly"),
        right_rows("tetrad", 5, 12, question="repeated", session="1"),
        right_rows("tetrad", 5, 12, question="repeated", session="2"),
    ]
    questions = [{"question": "cures eczema", "kind": "agreement", "foil": True}]
    answers = pd.concat([pd.DataFrame(rows, columns=list(_ANSWERS)), *chosen_rows], ignore_index=True)
    filled = answers.fillna({"versus": "", "session": "", "replicate": ""})
    names = pd.DataFrame({"prototype": ["P1", "P2", "P3", "P4", "P8"], "name": "", "role": ""})
    return Study({"prototypes": names, "answers": filled}, {"questions": questions})


def still() -> Study:
    """Over time nothing happens: the same course of each, nothing dominant, evaluations and courses that break off."""
    rng = np.random.default_rng(19)
    sequences = {name: ["".join(rng.permutation(list("wsgdwsgd"))) for _ in range(9)] for name in ("P1", "P2")}
    dominances = dominance_rows(sequences)
    broken = (dominances["assessor"] == "A00") & (dominances["attribute"] == "stop")
    courses = course_rows({"P1": 50, "P2": 50}, people=7, seed=3)
    short = (courses["assessor"] == "A01") & (courses["prototype"] == "P1") & (courses["seconds"] > 5)
    tables = {
        "prototypes": pd.DataFrame({"prototype": ["P1", "P2"], "name": "", "role": ["benchmark", ""]}),
        "courses": courses.loc[~short].reset_index(drop=True),
        "dominances": dominances.loc[~broken].reset_index(drop=True),
    }
    return Study(tables, {"benchmark": "P1", "dominance_attributes": ["w", "s", "g", "d", "never"]})


def odd_readings() -> Study:
    """Four hand creams: readings in two units, below zero, without value, of other things and of another batch."""
    formulas = {name: made for name, made in hand_cream_formulas().items() if name in ("P1", "P2", "P3", "P4")}
    study = scored(formulas, np.array([[50, 38, 44, 30.0], [40, 42, 52, 55.0]]), ["GREASE", "SOFT"], seed=20)
    rows = [
        {"prototype": name, "measure": measure, "unit": unit, "value": value, "batch": f"{name}-{turn}", "repeat": turn}
        for place, name in enumerate(formulas)
        for measure, unit, value in (
            ("paper blot", "mg" if place else "g", (9.0 - 2 * place) / (1 if place else 1000)),
            ("tack", "g", -20.0 - 4 * place), ("drift", "%", 2.0 - place), ("colour", "odd unit", 3.0 + place),
            ("mixed up", "mg" if place % 2 else "s", 5.0 + place), ("empty", "mg", np.nan),
        )
        for turn in "12"
    ]  # fmt: skip
    rows = [row | {"value": row["value"] * (1.0 if row["repeat"] == "1" else 1.04)} for row in rows]
    rows.append(rows[0] | {"prototype": "X9"})
    batches = pd.DataFrame({"batch": [f"{name}-9" for name in formulas], "prototype": list(formulas)})
    scores = study.scores.assign(batch=study.scores["prototype"] + "-9")
    attributes = pd.DataFrame(
        {"attribute": ["GREASE", "SOFT"], "name": ["greasy film", ""], "partner": ["paper blot", ""]}
    )
    tables = {**study.tables, "scores": scores, "batches": batches, "attributes": attributes}
    return Study({**tables, "readings": readings_table(rows)}, {"batch_sd": {"GREASE": 3.0}, "batch_sd_df": 4})


DRAWN: dict[str, Any] = {
    "consumers": consumers,
    "over time": over_time,
    "blends": blends,
    "five points": five_points,
    "alike": alike,
    "swaps": swaps,
    "unevenly served": unevenly_served,
    "seconds": seconds,
    "gated": gated,
    "chosen": chosen,
    "gaps": gaps,
    "troubled": troubled,
    "tied": tied,
    "two tried": two_tried,
    "unliked": unliked,
    "still": still,
    "odd readings": odd_readings,
}
