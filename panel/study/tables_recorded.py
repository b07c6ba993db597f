"""What is put on record beside the data: corrections, safety, unblindings, own values, claims."""

from __future__ import annotations

from panel.study.columns import Column, Table, number, text

RECORDED = (
    Table(
        "corrections",
        "one change to a score, never deleted",
        (
            Column("when", "date", "date and time of the change", required=True),
            text("who", "who made it", required=True),
            text("table", "which table", required=True),
            text("key", "which row, as column=value pairs separated by ;", required=True),
            text("old", "the value before"),
            text("new", "the value after; empty sets the score aside"),
            text("why", "the reason", required=True),
        ),
    ),
    Table(
        "safety",
        "one entry of the safety record, made by a named person",
        (
            text("item", "item of the checklist", required=True),
            text("batch", "batch it is for; empty for the whole study"),
            text("outcome", "what the person stated", required=True, choices=("signed", "not needed", "withdrawn")),
            text("who", "who stated it", required=True),
            text("role", "in which role", required=True),
            Column("date", "date", "on which day", required=True),
            text("document", "the document it rests on"),
            Column("valid_until", "date", "until when it counts"),
            text("note", "anything worth keeping"),
        ),
    ),
    Table(
        "reactions",
        "one entry about an adverse reaction",
        (
            text("reaction", "number of the reaction", required=True),
            Column("when", "date", "when it was seen", required=True),
            text("who", "who wrote it down", required=True),
            text("assessor", "code of the person"),
            text("prototype", "which prototype"),
            text("batch", "which batch"),
            text("session", "in which sitting"),
            text("signs", "what was seen", required=True),
            text("severity", "how grave", required=True, choices=("mild", "moderate", "serious")),
            text("action", "what was done", required=True),
            text("seen_by", "qualified person who saw it"),
            text("settled", "whether it is settled", choices=("yes", "no")),
            text("document", "the document about it"),
        ),
    ),
    Table(
        "unblindings",
        "one opening of the key",
        (
            Column("when", "date", "when the key was opened", required=True),
            text("who", "who opened it", required=True),
            text("what", "what was seen", required=True),
            text("why", "for which reason", required=True),
            text("locked", "whether the data were locked", required=True, choices=("yes", "no")),
            text("seal", "seal over this and the entries before", required=True),
        ),
    ),
    Table(
        "ingredient_values",
        "one value of an ingredient that the user measured herself; it comes before the table value",
        (
            text("ingredient", "INCI name", required=True),
            text("property", "which property, named as in the emollient table", required=True),
            number("value", "the value measured", required=True),
            Column("measured_on", "date", "date of the measurement", required=True),
            text("method", "how it was measured", required=True),
        ),
    ),
    Table(
        "claims",
        "one sentence somebody wants to say",
        (
            text("claim", "the sentence", required=True),
            text("kind", "kind of claim", required=True),
            text("prototype", "which prototype it is about"),
            text("versus", "what it is compared with"),
            text("attribute", "which attribute it is about"),
            text("question", "which consumer question it rests on"),
            number("minutes", "minutes after the end of rubbing"),
            number("margin", "largest difference that does not matter"),
            number("bar", "value that must be reached"),
        ),
    ),
)
