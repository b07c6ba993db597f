"""How well consumers like the prototypes, in plain sentences made from the numbers, and what that cannot show."""

from __future__ import annotations

from panel.models.consumers.liking import Liking
from panel.models.consumers.liking_model import CORRECTED
from panel.models.prototypes.verdict import CANNOT_TELL, EQUIVALENT
from panel.views.drawing.formats import (
    format_change,
    format_interval,
    format_list,
    format_number,
    format_share,
    p_words,
)
from panel.views.drawing.naming import Naming

DIGITS = 1  # of a mean on nine points
_AGREES, _DIFFERS = "come to the same", "do not come to the same"


def liking_headline(result: Liking, names: Naming) -> str:
    """Return the answer in one sentence: which is liked best, or that there is no winner."""
    means = result.means.sort_values("estimate", ascending=False, kind="stable")
    best = means.iloc[0]
    name, mean = names.prototype(str(best["prototype"])), format_number(best["estimate"], DIGITS)
    if result.p_value >= 1 - result.level:
        return f"The prototypes cannot be separated by liking: no winner. The highest mean is {mean} of 9 ({name})."
    with_best = [
        str(row["prototype"]) for row in means.to_dict("records") if set(row["letters"]) & set(best["letters"])
    ]
    if len(with_best) == 1:
        return f"{name} is liked best, {mean} of 9 on average, and better than every other prototype."
    rest = [str(other) for other in means["prototype"] if other not in with_best]
    if not rest:
        return f"Some prototypes are liked better than others, but none can be separated from {name}, the highest."
    return (
        f"There is no single winner: {format_list(with_best)} cannot be separated. {format_list(rest)} "
        f"{'is' if len(rest) == 1 else 'are'} liked less than {best['prototype']}, the highest ({mean} of 9)."
    )


def what_liking_shows(result: Liking, names: Naming) -> list[str]:
    """Return the sentences that read the numbers aloud."""
    lines = []
    if len(result.versus):
        lines.append(_against_benchmark(result, names))
    elif result.benchmark is None:
        lines.append("No benchmark was tried by these consumers, so there are no differences from one.")
    lines.append(_tests(result))
    lines.append(_top(result, names))
    lines += _serving(result)
    lines += _ways(result)
    if len(result.same_everywhere):
        who = format_list([str(name) for name in result.same_everywhere["assessor"]][:8])
        lines.append(
            f"{len(result.same_everywhere)} consumers gave every prototype the same answer ({who}"
            f"{', ...' if len(result.same_everywhere) > 8 else ''}). They stay in; such answers say nothing about "
            "differences."
        )
    return lines


def what_liking_cannot_show(result: Liking) -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    return (
        "Liking in one room after minutes is not liking after weeks of use, and not buying.",
        "A mean can hide opposite tastes: look at the distribution and at the groups of consumers.",
        "'Cannot be separated' is not 'liked equally': that needs a margin set beforehand and an interval within it.",
        "Consumers say what they like, not how strong a sensation is, nor why; the trained panel says what is felt.",
        "They stand for people like those who were recruited, and for one batch of each prototype.",
    )


def _against_benchmark(result: Liking, names: Naming) -> str:
    told = result.versus.loc[~result.versus["verdict"].isin([CANNOT_TELL, EQUIVALENT])]
    open_ones = [str(name) for name in result.versus.loc[result.versus["verdict"] == CANNOT_TELL, "prototype"]]
    alike = [str(name) for name in result.versus.loc[result.versus["verdict"] == EQUIVALENT, "prototype"]]
    parts = []
    for word, rows in (("better", told[told["estimate"] > 0]), ("less", told[told["estimate"] < 0])):
        if len(rows):
            each = [
                f"{row['prototype']} by {format_number(abs(row['estimate']), DIGITS)} "
                f"({format_interval(row['ci_low'], row['ci_high'], DIGITS)})"
                for row in rows.sort_values("estimate", ascending=False).to_dict("records")
            ]
            parts.append(f"liked {word}: {format_list(each)}")
    if alike:
        parts.append(f"within the margin: {format_list(alike)}")
    if open_ones:
        parts.append(f"cannot be separated from it: {format_list(open_ones)}")
    return f"Against {names.prototype(str(result.benchmark))}, {'; '.join(parts)}."


def _tests(result: Liking) -> str:
    beside = result.tests.loc[~result.tests["test"].isin(["mixed model", CORRECTED])]
    words = f"That all are liked alike: {p_words(result.p_value)} by the mixed model"
    if beside.empty:
        return f"{words}."
    others = [f"{p_words(row['p_value'])} by {_TEST_WORDS[row['test']]}" for row in beside.to_dict("records")]
    limit = 1 - result.level
    same = ((beside["p_value"] < limit) == (result.p_value < limit)).all()
    return f"{words}, {format_list(others)}: they {_AGREES if same else _DIFFERS}."


_TEST_WORDS = {
    "Friedman": "Friedman's test of the ranks",
    "Durbin": "Durbin's test of the ranks",
    "Skillings-Mack": "Skillings and Mack's test of the ranks",
    "cumulative logit": "the model that uses only the order of the nine points",
}


def _top(result: Liking, names: Naming) -> str:
    rows = result.boxes.loc[result.boxes["box"] == "top 3"].sort_values("share", ascending=False, kind="stable")
    first, last = rows.iloc[0], rows.iloc[-1]
    said = [
        f"{row['prototype']} from {row['count']:.0f} of {row['base']:.0f} consumers ({format_share(row['share'])}, "
        f"{format_share(row['ci_low'])} to {format_share(row['ci_high'])})"
        for row in (first, last)
    ]
    return f"One of the top three points (7, 8 or 9): most often {said[0]}, least often {said[1]}."


def _serving(result: Liking) -> list[str]:
    lines = []
    limit = 1 - result.level
    for row in result.serving.to_dict("records"):
        if row["p_value"] >= limit:
            lines.append(f"No effect of the {row['effect']} shows ({p_words(row['p_value'])}).")
            continue
        where = ""
        if row["effect"] == "position" and len(result.positions):
            told = result.positions.sort_values("estimate", ascending=False, kind="stable")
            high, low = told.iloc[0], told.iloc[-1]
            where = (
                f": position {high['position']:.0f} gets {format_change(high['estimate'] - low['estimate'], DIGITS)} "
                f"over position {low['position']:.0f}"
            )
        main = result.p_value < limit
        stays = "stays the same" if (row["prototype_p_value"] < limit) == main else "changes"
        lines.append(
            f"The {row['effect']} has an effect ({p_words(row['p_value'])}){where}. With it taken out the answer about "
            f"the prototypes {stays} ({p_words(row['prototype_p_value'])})."
        )
    return lines


def _ways(result: Liking) -> list[str]:
    lost = result.lost.loc[result.lost["consumers_lost"] > 0]
    return [
        f"The {row['method']} test can use {row['consumers']} consumers only; the mixed model also uses "
        f"the {row['answers_lost']} answers of the other {row['consumers_lost']}."
        for row in lost.to_dict("records")
    ]
