"""Studies with known truth for the tests of claims: a small trained panel, answers, votes and times."""

import csv
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from panel.checks.moments_recorded import claim_seal
from panel.claims.claim import CHANGE, STOP, read_claims
from panel.claims.judge import _find_evidence, _table, judge_claims, judge_drafts
from panel.claims.materials import Materials
from panel.claims.verdict import AS_WORDED, SUPPORTED
from panel.claims.wording import wording_of
from panel.study.study import Study, empty_table
from tests.formula_studies import hand_cream_formulas, table

BEFORE, OPENED = "2025-03-01T09:00:00", "2025-04-01T09:00:00"
LEVEL_SD, OWN_VIEW_SD, SCATTER_SD = 6.0, 5.0, 8.0  # the planning values of `panel.plan.sample_size`, and the level


def panel_scores(truth, rng, *, assessors=10, replicates=2, own_view=OWN_VIEW_SD, scatter=SCATTER_SD, sessions=None):
    """Score rows around true means {attribute: {prototype: mean}}; `sessions` names the replicates."""
    rows = []
    for attribute, means in truth.items():
        level = rng.normal(0, LEVEL_SD, assessors)
        for prototype, mean in means.items():
            views = rng.normal(0, own_view, assessors)
            noise = rng.normal(0, scatter, (assessors, replicates))
            rows += [
                {
                    "assessor": f"A{a + 1:02d}",
                    "prototype": prototype,
                    "attribute": attribute,
                    "score": mean + level[a] + views[a] + noise[a, r],
                    "replicate": "" if sessions else str(r + 1),
                    "session": sessions[r] if sessions else "",
                }
                for a in range(assessors)
                for r in range(replicates)
            ]
    return rows


def answer_rows(agreed, base, *, unknown=0, prototype="P1", question="soft", session="home"):
    """Agreement rows: `agreed` of `base` agree, `unknown` of the others do not know, the rest disagree."""
    marks = ["4", "5"] * base
    texts = marks[:agreed] + ["don't know"] * unknown + ["2"] * (base - agreed - unknown)
    return [
        {
            "assessor": f"C{number:04d}",
            "prototype": prototype,
            "question": question,
            "kind": "agreement",
            "answer": text,
            "session": session,
        }
        for number, text in enumerate(texts)
    ]


def vote_rows(first, second, neither, *, prototype="P1", versus="P2", session=""):
    """Preference rows: votes for the prototype, for the other one, and for neither."""
    texts = [prototype] * first + [versus] * second + ["no preference"] * neither
    return [
        {
            "assessor": f"C{number:04d}",
            "prototype": prototype,
            "versus": versus,
            "question": "preferred",
            "kind": "preference",
            "answer": text,
            "session": session,
        }
        for number, text in enumerate(texts)
    ]


def time_rows(seconds, *, prototype="P1", attribute="SINK"):
    """Score rows of people who were timed."""
    return [
        {"assessor": f"C{number:04d}", "prototype": prototype, "attribute": attribute, "score": value}
        for number, value in enumerate(seconds)
    ]


def claim_row(claim, kind, *, stamped=True, **row):
    """A row of the table of claims, stamped before the data unless told otherwise."""
    made = {"claim": claim, "kind": kind, "prototype": "P1", **row}
    if stamped:
        made |= {"stamped_at": BEFORE, "stamped_by": "panel leader"}
        made["stamp"] = claim_seal(made)
    return made


def study_with(
    claims, *, scores=(), answers=(), formulas=None, facts=None, attributes=(), roles=None, names=None, **tables
):
    """A study of these rows; every prototype named anywhere is listed, with its role; P2 is the previous cream."""
    named = [row["prototype"] for row in (*scores, *answers)] + [row.get("versus", "") for row in answers]
    roles, names = roles or {}, {"P2": "previous formula"} | (names or {})
    listed = dict.fromkeys(name for name in (*named, *roles, *(formulas or {})) if name)
    known = {row["attribute"] for row in attributes}
    scored = dict.fromkeys(row["attribute"] for row in scores)
    described = [{"attribute": name, "direction": "less", "minutes": 2.0} for name in scored if name not in known]
    lines = [
        {"prototype": p, "ingredient": i, "percent": amount, "kind": ""}
        for p, recipe in (formulas or {}).items()
        for i, amount in recipe.items()
    ]
    made = {
        "prototypes": table(
            "prototypes",
            [{"prototype": p, "name": names.get(p, ""), "role": roles.get(p, "prototype")} for p in listed],
        ),
        "attributes": table("attributes", [*attributes, *described]),
        "scores": table("scores", list(scores)) if scores else empty_table("scores"),
        "answers": table("answers", list(answers)) if answers else empty_table("answers"),
        "claims": table("claims", list(claims)) if claims else empty_table("claims"),
    }
    if lines:
        made["formulas"] = table("formulas", lines)
    made |= {name: table(name, rows) for name, rows in tables.items()}
    return Study(made, {"scale_min": 0, "scale_max": 100, "unblinded_on": OPENED, **(facts or {})})


def verdict_of(study, number=1, **how):
    """The verdict on one claim of a study."""
    claims = judge_claims(study, **how).claims
    return str(claims.loc[claims["number"] == number, "verdict"].iloc[0])


def drafted_sentences(file, studies, statement):
    """Every row of a file of sentences beside what is said of it.

    `studies`: name to study; `statement` gives the statement of a name and its short name.
    """
    with file.open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))
    found = []
    for name, study in studies.items():
        own = [row for row in rows if row["study"] == name]
        drafts = judge_drafts(study, [statement(name, row["statement"]) | {"claim": row["claim"]} for row in own])
        found += zip(own, drafts, strict=True)
    assert len(found) == len(rows)
    return found


def drafting(folder, studies, statement):
    """Return functions from a file of sentences: to each row and what is said of it, and to whether that is as worded.

    Each file is judged once. `studies` makes the studies by their names.
    """

    @cache
    def drafted(file):
        return drafted_sentences(folder / file, studies(), statement)

    return drafted, lambda file: [(row, draft.verdict in AS_WORDED) for row, draft in drafted(file)]


def newly_refused(file, judged):
    """True sentences of a file that are refused, though they were read when `sentences_lost.csv` was last written.

    `judged`: each row of the file beside whether it may be said.
    """
    with Path(__file__).with_name("sentences_lost.csv").open(encoding="utf-8", newline="") as opened:
        lost = {row["claim"] for row in csv.DictReader(opened) if row["file"] == file}
    true = [(row["claim"], said) for row, said in judged if row["verdict"] in ("supported", "border yes", SUPPORTED)]
    assert true
    return [claim for claim, said in true if not said and claim not in lost]


def words_judge(study, statement):
    """Return a function from a sentence to whether its words are those of a statement that is shown."""
    finds = words_finder(study, statement)
    return lambda sentence: finds(sentence) == ((), ())


def words_finder(study, statement):
    """Return a function from a sentence to its words that nothing accounts for, and to what else is found in them.

    The evidence is found once; `judge_drafts` would find it again for each sentence.
    """
    table = _table([{"claim": "x", **statement}])
    (claim,) = read_claims(replace(study, tables={**study.tables, "claims": table}))
    materials = Materials(study, (claim,))
    evidence = _find_evidence(claim, materials)

    def finds(sentence):
        findings, left_over = wording_of(replace(claim, claim=sentence), evidence, materials)
        return left_over, tuple(each.check for each in findings if each.severity in (STOP, CHANGE))

    return finds


def row_of(study, number=1, **how):
    """The row of one claim of a study."""
    claims = judge_claims(study, **how).claims
    return claims.loc[claims["number"] == number].iloc[0]


def swapped_scores(rng, effects, *, attribute="AF_GREASE", assessors=10, scatter=3.0):
    """Scores of the eight hand creams: base 50, each of three swaps adds its effect."""
    truth = {
        attribute: {
            name: 50.0 + sum(effect for slot, effect in enumerate(effects) if number >> slot & 1)
            for number, name in enumerate(hand_cream_formulas())
        }
    }
    return panel_scores(truth, rng, assessors=assessors, own_view=2.0, scatter=scatter)


def seeded(seed=20250311):
    """A generator for tests."""
    return np.random.default_rng(seed)
