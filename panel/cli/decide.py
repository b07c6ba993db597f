"""Command about the choice: hold the prototypes against the target profile and the gates."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, print_told, study_argument
from panel.errors import ModelError, StudyError

if TYPE_CHECKING:
    from panel.models.emollients.next_prototype import NextPrototypes
    from panel.models.prototypes.differences import Differences
    from panel.study.study import Study


@click.command()
@study_argument
@click.option("--weight", multiple=True, metavar="ATTRIBUTE=NUMBER", help="Weight of an attribute; may be repeated.")
@click.option("--seed", type=int, default=1, help="Seed of the draws.")
@click.option("--all", "everything", is_flag=True, help="Also what else there is to say.")
@json_option
def decide(study: Path, weight: tuple[str, ...], seed: int, everything: bool, as_json: bool) -> None:
    """Hold the prototypes against the target profile: chances, ranking, gates, and who cannot be separated."""
    from panel.answers import DECISION, Answers

    answers = Answers(open_path(study), seed)
    result = answers.need(DECISION, weights=_weights(answers.study, weight))
    if as_json:
        frames = ("ranking", "unmet", "gates", "pairs", "front", "windows", "divided")
        content: dict[str, Any] = {name: getattr(result, name) for name in frames}
        content |= {"weight_changes": result.weights.changes, "weight_shares": result.weights.shares}
        content |= {"choice": result.choice, "contenders": result.contenders, "benchmark": result.benchmark}
        content |= {"nobody_meets": result.nobody_meets, "windows_read_as": result.profile.read_as}
        content |= {"decisions": answers.study.table("decisions"), "level": result.level, "seed": seed}
        print_json(content | {"method": result.method, "notes": result.notes})
        return
    from panel.views.decision.decide import tell_decision

    print_told(tell_decision(result, answers.names), everything=everything)


def _weights(study: Study, typed: tuple[str, ...]) -> dict[str, float] | None:
    """Return the weights typed in over those of the study, None if none were."""
    if not typed:
        return None
    from panel.models.decision.profile import target_profile
    from panel.study.numbers_read import typed_number

    wanted = target_profile(study).wanted
    weights = dict(zip(wanted["attribute"].astype(str), wanted["weight"].astype(float), strict=True))
    for text in typed:
        name, sign, number = text.partition("=")
        value = typed_number(number, f"The weight of {name.strip()}") if sign else None
        if value is None:
            raise StudyError(f"The weight {text!r} is not understood. Write it like AF_GREASE=2.")
        weights[name.strip()] = value
    return weights


# Command about what may be said: the verdict on each claim.


@click.command()
@study_argument
@click.option(
    "--draft",
    type=click.Path(path_type=Path),
    help="Judge the sentences of this table instead (columns as in the table claims), as if fixed beforehand.",
)
@click.option("--all", "everything", is_flag=True, help="Also what else there is to say.")
@json_option
def claim(study: Path, draft: Path | None, everything: bool, as_json: bool) -> None:
    """Say of each claim whether the data allow it, why, and what it would take.

    Drafts are judged and forgotten: nothing is recorded.
    """
    from panel.answers import Answers
    from panel.claims.judge import CLAIMS

    answers = Answers(open_path(study))
    if draft is not None:
        _drafts(answers.study, draft, as_json=as_json)
        return
    result = answers.need(CLAIMS)
    if as_json:
        from panel.views.drawing.plain_data import records

        content: dict[str, Any] = {"claims": [_with_words(row, result) for row in records(result.claims)]}
        frames = ("numbers", "findings", "gaps", "bearing")
        content |= {name: getattr(result, name) for name in frames}
        print_json(content | {"level": result.level, "method": result.method, "notes": result.notes})
        return
    from panel.report.contents.evidence import mark
    from panel.views.decision.board import tell_claims

    print_told(tell_claims(result, answers.names, mark(answers.study)), everything=everything)


def _drafts(study: Study, path: Path, *, as_json: bool) -> None:
    """Judge the drafts in a file and print what may be said."""
    from panel.claims.judge import DRAFT, judge_drafts
    from panel.study.raw_table import raw_table, read_raw_file

    table = raw_table(read_raw_file(path))
    rows = [dict(zip(table.header, cells, strict=True)) for cells in zip(*table.columns, strict=True)]
    drafts = judge_drafts(study, rows)
    if as_json:
        names = ("claim", "kind", "verdict", "reasons", "needs", "not_covered", "may_be_said", "footnote")
        listed = [{name: getattr(each, name) for name in names} | {"draft": True} for each in drafts]
        print_json({"claims": listed, "draft": True, "notes": [DRAFT]})
        return
    from panel.views.decision.claims import local_law, verdict_words

    print_lines(DRAFT, "")
    for each in drafts:
        print_lines(f"{verdict_words(each.verdict)} | “{each.claim}”")
        for head, texts in (("", each.reasons), ("It would take: ", each.needs)):
            print_lines(*(f"  {head}{text}" for text in texts))
        print_lines(*([f"  What may be said: {each.may_be_said}"] if each.may_be_said else []), "")
    print_lines(local_law())


def _with_words(row: dict[str, Any], result: Any) -> dict[str, Any]:
    """Return a claim with its reasons and what it would take."""
    from panel.views.decision.claims import needs_of, reasons_of

    number = int(row["number"])
    told = {"reasons": reasons_of(result, number), "needs": needs_of(result, number)}
    not_covered = [words for words in str(row["not_covered"]).split(", ") if words]
    return row | told | {"not_covered": not_covered, "may_be_said": row["suggestion"]}


# Command about the emollients: trace what they did, and what to make next.


@click.command()
@study_argument
@click.option("--seed", type=int, default=1, help="Seed of the permutations.")
@json_option
def trace(study: Path, seed: int, as_json: bool) -> None:
    """Trace the differences back to the emollients, and say what to make next."""
    import numpy as np

    from panel.models.emollients.descriptors import find_descriptors
    from panel.models.emollients.ladder import find_ladder
    from panel.models.emollients.swaps import trace_swaps
    from panel.models.prototypes.differences import find_differences

    opened = open_path(study)
    result, described = trace_swaps(opened), find_descriptors(opened)
    differences = find_differences(opened)
    ladder = find_ladder(opened, rng=np.random.default_rng(seed), differences=differences, traced=result)
    following, why_not = _next(opened, differences)
    if as_json:
        frames = ("aliases", "swaps", "joint", "interactions", "pairs", "unpaired")
        content: dict[str, Any] = {"moves": result.n_moves, "singular_values": result.moves}
        content |= {name: getattr(result, name) for name in frames} | {"descriptors": described.values}
        content |= {"verdicts": ladder.verdicts, "prediction": ladder.prediction, "seed": seed}
        content |= {"next": [] if following is None else following.blends}
        notes = (*result.notes, *described.notes, *ladder.notes, *([why_not] if why_not else []))
        print_json(content | {"method": f"{result.method} {ladder.method}", "notes": notes})
        return
    from panel.study.naming import naming
    from panel.views.emollients.ladder import ladder_headline, verdict_sentences, what_the_ladder_cannot_show
    from panel.views.emollients.next_prototype import next_headline, proposals_table
    from panel.views.emollients.swaps import alias_sentences, what_the_swaps_cannot_show, what_the_swaps_show

    names = naming(opened)
    print_lines(*what_the_swaps_show(result, names), "", *alias_sentences(result), "")
    print_lines(ladder_headline(ladder), *verdict_sentences(ladder, names), "")
    if following is None:
        print_lines(why_not)
    else:
        print_lines(next_headline(following))
        print_table(proposals_table(following))
    print_lines(result.method, ladder.method, *result.notes, *described.notes, *ladder.notes)
    print_lines(*what_the_swaps_cannot_show(), *what_the_ladder_cannot_show())


def _next(study: Study, differences: Differences) -> tuple[NextPrototypes | None, str]:
    """Return what to make next, or why nothing can be proposed."""
    from panel.models.emollients.next_prototype import propose_next

    try:
        return propose_next(study, differences=differences), ""
    except ModelError as error:
        return None, f"Nothing is proposed: {error}"
