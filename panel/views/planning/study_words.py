"""What is in a study and how much of it to settle first, in plain sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from panel.checks.finding import Finding
from panel.checks.places import counted
from panel.study.study import Study
from panel.views.drawing.formats import format_list


def what_is_in_the_study(study: Study) -> str:
    """Return the counts in one or two sentences; what is not there is left out."""
    scores, answers = study.scores, study.table("answers")
    trained = [counted(len(study.prototypes), "prototype")]
    if study.attributes:
        trained.append(counted(len(study.attributes), "attribute"))
    if scores["assessor"].any():
        trained.append(counted(scores["assessor"].nunique(), "assessor"))
    if sessions := len(set(scores["session"]) - {""}):
        trained.append(counted(sessions, "session"))
    if given := int(scores["score"].notna().sum()):
        trained.append(counted(given, "score"))
    sentences = [f"{format_list(trained)}."]
    if len(answers):
        people = counted(answers["assessor"].nunique(), "consumer")
        sentences.append(f"{people} gave {counted(len(answers), 'answer')}; they are kept apart from the scores.")
    if not given:
        sentences.append("There are no scores yet: import a table of scores.")
    return " ".join(sentences)


def what_the_findings_say(findings: Iterable[Finding]) -> str:
    """Return how many findings there are of each severity, and what that means for the results."""
    number = Counter(finding.severity for finding in findings)
    if not number:
        return "Nothing was found that could mislead the results."
    parts = []
    if number["stop"]:
        parts.append(f"{counted(number['stop'], 'problem')} must be settled before the results mean anything")
    if number["warning"]:
        parts.append(f"{counted(number['warning'], 'warning')} may mislead the results")
    if number["note"]:
        parts.append(f"{counted(number['note'], 'thing')} {'is' if number['note'] == 1 else 'are'} good to know")
    return f"{format_list(parts)}."
