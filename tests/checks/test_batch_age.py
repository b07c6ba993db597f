import pytest

from tests.checks.planted import new_findings, table, the_one, with_cells
from tests.studies import small_study


def test_a_batch_under_24_hours_is_told_and_not_again_as_unlike_age():
    finding = the_one(with_cells("batches", [1], made_on="2025-03-12T14:00"))
    assert (finding.severity, finding.kind) == ("warning", "batch_too_young")
    assert finding.where == "batches, batch P2-1 of P2"
    assert finding.message == "1 batch tested at an age of 20 h, under 24 h."
    assert finding.advice == (
        "The structure was still changing. Test again after 48 h, or keep this prototype out of the comparison by a "
        "rule recorded before unblinding."
    )


@pytest.mark.parametrize(
    ("made_on", "kinds"),
    [
        ("2025-03-12T10:01", ["batch_too_young"]),
        ("2025-03-12T10:00", ["ages_differ", "batch_not_settled"]),
        ("2025-03-11T10:01", ["ages_differ", "batch_not_settled"]),
        ("2025-03-11T10:00", []),
        ("2025-03-10T09:59", ["ages_differ"]),
    ],
)
def test_the_limits_are_24_and_48_hours_and_a_day_apart(made_on, kinds):
    assert [finding.kind for finding in new_findings(with_cells("batches", [1], made_on=made_on))] == kinds


def test_an_age_between_one_and_two_days_is_noted():
    batches = table("batches").assign(made_on="2025-03-11T20:00")
    found = new_findings(small_study(batches=batches))
    (finding,) = found
    assert (finding.severity, finding.kind) == ("note", "batch_not_settled")
    assert finding.message == "4 batches tested at an age of 38 h, 38 h, 38 h and 1 more, under 48 h."
    assert finding.advice.startswith("Overnight rest is common practice; 48 h is safer")
    assert finding.where.startswith("batches, batch P1-1 of P1; batches, batch P2-1 of P2;")


def test_ages_more_than_a_day_apart_are_told():
    finding = the_one(with_cells("batches", [0], made_on="2025-03-06T10:00"))
    assert (finding.severity, finding.kind) == ("warning", "ages_differ")
    assert finding.where == "batches, made_on and tested_on"
    assert finding.message == (
        "The batches were tested at ages that differ by more than a day: from 48 h (P2-1) to 168 h (P1-1)."
    )
    assert finding.advice == "Age changes thickness and rub-out. Test all prototypes within a day of equal age."


@pytest.mark.parametrize(
    ("made_on", "kind", "age"),
    [("2025-03-13", "batch_too_young", "less than a day"), ("2025-03-12", "batch_not_settled", "1 day")],
)
def test_dates_without_times_are_counted_in_days(made_on, kind, age):
    batches = table("batches").assign(tested_on="2025-03-13", made_on=made_on)
    found = [f for f in new_findings(small_study(batches=batches)) if f.kind == kind]
    assert len(found) == 1
    assert age in found[0].message


def test_minutes_are_told_as_such():
    finding = the_one(with_cells("batches", [1], made_on="2025-03-13T09:30"))
    assert "at an age of 30 min" in finding.message


def test_a_batch_tested_before_it_was_made_is_told():
    batches = table("batches").assign(tested_on="2025-03-13T10:00")
    batches.loc[1, "made_on"] = "2025-03-13T15:00"
    found = new_findings(small_study(batches=batches, scores=table("scores").assign(recorded_at="")))
    (finding,) = found
    assert (finding.severity, finding.kind) == ("warning", "tested_before_made")
    assert finding.where == "batches, batch P2-1 of P2"
    assert finding.message == "1 batch tested 5 h before it was made."
    assert finding.advice == "Correct made_on or tested_on."


def test_an_unknown_age_is_noted_once():
    scores = table("scores").assign(recorded_at="")
    finding = the_one(small_study(batches=with_cells("batches", [0, 1], tested_on="").table("batches"), scores=scores))
    assert (finding.severity, finding.kind) == ("note", "age_unknown")
    assert finding.where == "batches, made_on and tested_on"
    assert finding.message == "The age at test is unknown for 2 batches: P1-1 and P2-1."
    assert finding.advice == "Fill in made_on and tested_on, with the time if the batch is younger than two days."


def test_a_batch_was_tested_when_it_was_first_scored():
    # the scores of this study begin a day after the batches' own cells say; only the empty cells are taken from them
    assert new_findings(with_cells("batches", [0, 1], tested_on="")) == []
    young = table("batches").assign(tested_on="", made_on="2025-03-13T08:00")
    scores = table("scores").assign(recorded_at="2025-03-13T18:00:00")
    found = {finding.kind: finding for finding in new_findings(small_study(batches=young, scores=scores))}
    assert found["batch_too_young"].message == "4 batches tested at an age of 10 h, 10 h, 10 h and 1 more, under 24 h."
    assert "age_unknown" not in found
