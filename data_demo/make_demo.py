"""Makes the demo study and the truth behind it: `python -m data_demo.make_demo` from the top of the repository.

The same program gives the same bytes. The study goes to `reading_room/`; what is true in it goes beside it, for
teaching, so that nothing inside the study tells the answer.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from data_demo import scenario as story
from data_demo import simulate
from panel.checks.moments_recorded import claim_seal
from panel.study.folder import write_study
from panel.study.knowledge import shared_table
from panel.study.study import Study

HERE = Path(__file__).resolve().parent
BATCH = {prototype: f"RR-{prototype[1]}" for prototype in story.SWAPS}


def prototypes() -> pd.DataFrame:
    """Return the prototypes with what was swapped in words."""
    rows = []
    for prototype, made in story.SWAPS.items():
        swapped = [f"{after} for {before}" for (_, before, after), was in zip(story.SLOTS, made, strict=True) if was]
        name = "previous formula" if not swapped else f"swap {''.join(np.array(list('ABC'))[np.array(made) == 1])}"
        role = "benchmark" if prototype == story.FACTS["benchmark"] else "prototype"
        rows.append((prototype, name, role, "; ".join(swapped)))
    return pd.DataFrame(rows, columns=["prototype", "name", "role", "note"], dtype="str")


def formulas() -> pd.DataFrame:
    """Return every line of every formula; the emollients stand in phase B."""
    rows = []
    for prototype, made in story.SWAPS.items():
        slots = [
            ((before, after)[was], percent, "B", "emollient")
            for (percent, before, after), was in zip(story.SLOTS, made, strict=True)
        ]
        lines = sorted([*story.BASE, *slots], key=lambda line: line[2])
        rows += [(prototype, *line) for line in lines]
    return pd.DataFrame(rows, columns=["prototype", "ingredient", "percent", "phase", "kind"])


def attributes() -> pd.DataFrame:
    """Return the scored attributes as the lexicon words them, with the targets of this study."""
    measured = [*story.MEASURES, "pH"]
    rows = shared_table("lexicon").set_index("attribute").loc[list(story.EFFECTS)].reset_index()
    low, high = ([story.TARGETS.get(attribute, (None, None))[end] for attribute in rows["attribute"]] for end in (0, 1))
    rows = rows.assign(
        scale_min=0.0,
        scale_max=100.0,
        target_low=pd.Series(low, dtype="float64"),
        target_high=pd.Series(high, dtype="float64"),
        # The brief sets no window for what the lexicon would aim at a target: such attributes only describe.
        direction=rows["direction"].replace("target", "describe"),
        weight=rows["attribute"].map(story.WEIGHTS).astype("float64"),
        must_have=["yes" if name in story.MUST_HAVE else "" for name in rows["attribute"]],
        partner=rows["partner"].where(rows["partner"].isin(measured), ""),
    )
    columns = "attribute name stage minutes definition procedure low_end high_end scale_min scale_max direction"
    return rows[[*columns.split(), "target_low", "target_high", "weight", "must_have", "partner"]]


def people() -> pd.DataFrame:
    """Return assessors and consumers by code; the work group of a consumer has nothing to do with her taste."""
    avoid = {"A09": "lanolin", "C017": "fragrance", "C044": "wheat"}
    groups = ("library", "archive", "book repair")
    rows = [(assessor, "trained", "", avoid.get(assessor, "")) for assessor in story.ASSESSORS]
    rows += [
        (consumer, "consumer", groups[number % 3], avoid.get(consumer, ""))
        for number, consumer in enumerate(story.CONSUMERS)
    ]
    return pd.DataFrame(rows, columns=["assessor", "kind", "group", "avoid"], dtype="str")


def batches(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the making records; viscosity is the mean of the three readings."""
    viscosity = readings.loc[readings["measure"] == "viscosity"].groupby("prototype")["value"].mean().round(-1)
    rows = [
        (BATCH[prototype], prototype, made_on, story.SESSION_STARTS["1"], 500.0, ph, viscosity[prototype])
        for prototype, (made_on, ph) in story.BATCHES.items()
    ]
    columns = ["batch", "prototype", "made_on", "tested_on", "size_g", "ph", "viscosity_mpa_s"]
    table = pd.DataFrame(rows, columns=columns).assign(viscosity_method=story.VISCOSITY_METHOD)
    return table.assign(note=np.where(table["prototype"] == "P6", "made again; first batch spilt", ""))


def claims() -> pd.DataFrame:
    """Return the sentences somebody wants to say, each fixed with its bar and margin before the first session."""
    columns = ["claim", "kind", "prototype", "versus", "attribute", "minutes", "margin", "bar", "question"]
    table = pd.DataFrame(story.CLAIMS, columns=columns).astype(dict.fromkeys(columns[5:8], "float64"))
    table["bar_panel"] = table["claim"].map(story.CLAIM_PANEL_BARS).astype("float64")
    table["ingredient"] = table["claim"].map(story.CLAIM_INGREDIENTS).fillna("")
    table = table.assign(**story.CLAIMS_FIXED)
    return table.assign(stamp=[claim_seal(row) for row in table.to_dict("records")])


def safety() -> pd.DataFrame:
    """Return the safety record: who stated what, on which day, resting on which document."""
    rows = [(item, "", "signed", *rest, "") for item, *rest in story.SIGN_OFFS]
    item, who, role, day, why = story.NOT_NEEDED
    rows.append((item, "", "not needed", who, role, day, "", why))
    rows += [(item, batch, "signed", *rest, "") for item, *rest in story.BATCH_SIGN_OFFS for batch in BATCH.values()]
    columns = ["item", "batch", "outcome", "who", "role", "date", "document", "note"]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def questions() -> list[dict[str, object]]:
    """Return the wording of every question as the consumers saw it."""
    asked: list[dict[str, object]] = []
    for question, (kind, words, low, high) in story.QUESTION_WORDS.items():
        matched = story.QUESTION_ATTRIBUTES.get(question)
        follows = {"attribute": matched} if matched else {}
        asked.append({"question": question, "kind": kind, "words": words, "low_end": low, "high_end": high, **follows})
    asked += [{"question": word, "kind": "check_all", "words": word} for word in story.CHECK_ALL]
    for question, (sentence, _, _) in story.HOME_USE.items():
        foil = {"foil": True} if question == story.HOME_USE_FOIL else {}
        ends = {"low_end": "strongly disagree", "high_end": "strongly agree"}
        asked.append({"question": question, "kind": "agreement", "words": sentence, **ends, **foil})
    return [*asked, *story.CHOICE_QUESTIONS]


def make_study(seed: int = story.SEED) -> tuple[Study, dict[str, str]]:
    """Return the study and the hidden kind of each consumer; what came later has generators of its own."""
    rng = np.random.default_rng(seed)
    taken: set[str] = set()
    trained = simulate.trained_servings(rng, taken)
    hall = simulate.consumer_servings(rng, taken)
    home = simulate.home_servings(rng, taken)
    scores = simulate.score_table(trained, simulate.draw_scores(rng, trained), BATCH)
    measured = simulate.readings(rng, BATCH)
    segments = simulate.consumer_segments(rng)
    choices = np.random.default_rng([seed, story.CHOICE_SEED])
    over_time = np.random.default_rng([seed, story.TIME_SEED])
    answers = [
        simulate.hall_answers(rng, hall, segments),
        simulate.home_answers(rng, home),
        simulate.triangle_answers(choices),
        simulate.preference_answers(choices),
    ]
    tables = {
        "prototypes": prototypes(),
        "batches": batches(measured),
        "formulas": formulas(),
        "attributes": attributes(),
        "assessors": people(),
        "servings": pd.concat([trained, hall, home], ignore_index=True),
        "scores": scores,
        "answers": pd.concat(answers, ignore_index=True).fillna({"versus": ""}),
        "readings": measured,
        "curves": simulate.curves(np.random.default_rng([seed, story.CURVE_SEED])),
        "courses": simulate.courses(over_time),
        "dominances": simulate.dominances(over_time),
        "safety": safety(),
        "claims": claims(),
    }
    return Study(tables, {**story.FACTS, "questions": questions()}), segments


def truth_table() -> pd.DataFrame:
    """Return what is true of each attribute: base, effects, spreads, and the true level of every prototype."""
    columns = ["base", "swap_a", "swap_b", "swap_c", "extra_pair", "extra"]
    columns += ["sd_prototype_assessor", "sd_residual"]
    effects = pd.DataFrame.from_dict(story.EFFECTS, orient="index", columns=columns)
    effects["extra_pair"] = effects["extra_pair"].fillna("")
    return effects.join(simulate.true_profiles().T.astype(int)).rename_axis("attribute").reset_index()


def people_truth(segments: dict[str, str]) -> pd.DataFrame:
    """Return what is true of each person: the quirk of an assessor, the hidden kind of a consumer."""
    quirks = [(assessor, story.QUIRKS.get(assessor, "none")) for assessor in story.ASSESSORS]
    return pd.DataFrame([*quirks, *segments.items()], columns=["assessor", "truth"])


def write_demo(folder: Path) -> None:
    """Write the study and its three truth tables into `folder`."""
    study, segments = make_study()
    write_study(study, folder / "reading_room", overwrite=True)
    truth_table().to_csv(folder / "reading_room_truth.csv", index=False, lineterminator="\n")
    people_truth(segments).to_csv(folder / "reading_room_people_truth.csv", index=False, lineterminator="\n")
    measured = simulate.measured_truth().round(4)
    measured.to_csv(folder / "reading_room_measured_truth.csv", index=False, lineterminator="\n")


if __name__ == "__main__":
    write_demo(HERE)
