"""What is prepared before anybody scores: prototypes, batches, formulas, attributes, assessors, servings."""

from __future__ import annotations

from panel.study.columns import ASSESSOR, ATTRIBUTE, PROTOTYPE, Column, Table, number, text

PREPARED = (
    Table(
        "prototypes",
        "one prototype",
        (
            PROTOTYPE,
            text("name", "what it is called in words"),
            text("role", "its part in the study", choices=("prototype", "benchmark", "reference", "untreated")),
            text("note", "anything worth keeping"),
        ),
        key=("prototype",),
    ),
    Table(
        "batches",
        "one making of a prototype",
        (
            text("batch", "batch number", required=True),
            PROTOTYPE,
            Column("made_on", "date", "date, or date and time, of making"),
            Column("tested_on", "date", "date, or date and time, of the first test"),
            number("size_g", "batch size in g"),
            number("ph", "pH"),
            number("viscosity_mpa_s", "viscosity in mPa s"),
            text("viscosity_method", "spindle, speed and temperature"),
            text("note", "anything worth keeping"),
        ),
        key=("batch",),
    ),
    Table(
        "formulas",
        "one ingredient in one prototype",
        (
            PROTOTYPE,
            text("ingredient", "INCI name", required=True),
            Column("percent", "number", "per cent by mass", required=True),
            text("phase", "phase of the formula, A, B, C ..."),
            text(
                "kind",
                "what it does in the formula",
                choices=("emollient", "emulsifier", "structurant", "humectant", "other"),
            ),
        ),
    ),
    Table(
        "attributes",
        "one attribute",
        (
            ATTRIBUTE,
            text("name", "what it is called in words"),
            text(
                "stage",
                "when it is judged",
                choices=("appearance", "pick-up", "rub-out", "after-feel", "later after-feel", "any"),
            ),
            number("minutes", "minutes after the end of rubbing"),
            text("definition", "what is judged"),
            text("procedure", "how it is judged"),
            text("low_end", "words at the low end of the scale"),
            text("high_end", "words at the high end of the scale"),
            number("scale_min", "lowest possible score"),
            number("scale_max", "highest possible score"),
            text("direction", "what is wanted", choices=("more", "less", "target", "describe")),
            number("target_low", "lower end of the target window"),
            number("target_high", "upper end of the target window"),
            number("weight", "how much it counts in a decision"),
            text("must_have", "whether a prototype outside the window is out", choices=("yes", "no")),
            text("partner", "the instrument reading that goes with it"),
            text("unit", "unit of the scores where something is measured, such as s for seconds"),
        ),
        key=("attribute",),
    ),
    Table(
        "assessors",
        "one person, by code",
        (
            ASSESSOR,
            text("kind", "trained assessor or consumer", choices=("trained", "consumer")),
            text("group", "a group the person belongs to"),
            text("avoid", "allergens to keep away from this person, separated by ;"),
        ),
        key=("assessor",),
    ),
    Table(
        "servings",
        "one sample put before one person",
        (
            text("session", "which sitting", required=True),
            ASSESSOR,
            Column("position", "integer", "place in the serving order, 1 is first", required=True),
            PROTOTYPE,
            text("code", "three-digit blind code", required=True),
            text("site", "where on the skin"),
        ),
        key=("session", "assessor", "position"),
    ),
)
