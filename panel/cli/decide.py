"""Command about the choice: hold the prototypes against the target profile and the gates."""

from __future__ import annotations

import secrets
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import (
    all_option,
    json_option,
    open_path,
    parts_of,
    print_json,
    print_lines,
    print_told,
    study_argument,
    tell_how_days_are_given,
    told_level,
)
from panel.errors import StudyError

if TYPE_CHECKING:
    from panel.answers import Answers, NoAnswer
    from panel.study.study import Study


@click.command()
@study_argument
@click.option("--weight", multiple=True, metavar="ATTRIBUTE=NUMBER", help="Weight of an attribute; may be repeated.")
@click.option("--seed", type=int, default=1, help="Seed of the draws.")
@all_option
@json_option
def decide(study: Path, weight: tuple[str, ...], seed: int, everything: bool, as_json: bool) -> None:
    """Hold the prototypes against the target profile: chances, ranking, gates, and who cannot be separated."""
    from panel.answers import DECISION, Answers

    answers = Answers(open_path(study), seed)
    result = answers.need(DECISION, weights=_weights(answers.study, weight))
    if as_json:
        frames = ("ranking", "unmet", "gates", "pairs", "windows", "divided", "weight_changes")
        content = parts_of(result, *frames, "choice", "contenders", "benchmark", "nobody_meets")
        content |= {"windows_read_as": result.profile.read_as, "decisions": answers.study.table("decisions")}
        print_json(content | {"seed": seed} | told_level() | parts_of(result, "method", "notes"))
        return
    from panel.views.decision.decide import tell_decision

    print_told(tell_decision(result, answers.names), everything=everything)


def _weights(study: Study, typed: tuple[str, ...]) -> dict[str, float] | None:
    """Return the weights typed in over those of the study, None if none were."""
    if not typed:
        return None
    from panel.models.decision.wanted import target_profile
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


@click.command()
@study_argument
@click.option(
    "--draft",
    type=click.Path(path_type=Path),
    help="Judge the sentences of this table instead (columns as in the table claims), as if stamped beforehand.",
)
@click.option(
    "--ask-stamp", type=click.Path(path_type=Path), help="Write a request for a time stamp (RFC 3161) to this file."
)
@click.option("--stamp", type=click.Path(path_type=Path), help="Verify this reply of a time-stamping authority.")
@click.option("--asked", type=click.Path(path_type=Path), help="The request that the reply answers.")
@click.option("--root", type=click.Path(path_type=Path), help="Certificate of an authority that you trust.")
@all_option
@json_option
def claim(
    study: Path,
    draft: Path | None,
    ask_stamp: Path | None,
    stamp: Path | None,
    asked: Path | None,
    root: Path | None,
    everything: bool,
    as_json: bool,
) -> None:
    """Say of each claim whether the data allow it, why, and what it would take.

    Drafts are judged and forgotten: nothing is recorded. A time stamp shows when the claims stood as they are.
    """
    if ask_stamp is not None:
        _ask_stamp(open_path(study), ask_stamp)
        return
    if stamp is not None:
        _verify_stamp(open_path(study), stamp, asked, root, as_json=as_json)
        return
    from panel.answers import Answers
    from panel.claims.judge import CLAIMS

    answers = Answers(open_path(study))
    if draft is not None:
        _drafts(answers.study, draft, as_json=as_json)
        return
    result = answers.need(CLAIMS)
    if as_json:
        from panel.cli.shared import records

        content: dict[str, Any] = {"claims": [_with_words(row, result) for row in records(result.claims)]}
        content |= parts_of(result, "numbers", "findings", "gaps", "bearing")
        print_json(content | told_level() | parts_of(result, "method", "notes"))
        return
    from panel.views.decision.claims import tell_claims
    from panel.views.planning.study import mark

    print_told(tell_claims(result, answers.names, mark(answers.study)), everything=everything)
    tell_how_days_are_given(result.reasons["reason"])


def _ask_stamp(study: Study, path: Path) -> None:
    from panel.checks.moments_recorded import stamps_hash
    from panel.claims.time_stamp import time_stamp_request
    from panel.study.safe_write import write_file

    write_file(path, time_stamp_request(stamps_hash(study.table("claims")), secrets.randbits(64)))
    print_lines(f"Written: {path}. Send it to a time-stamping authority, and keep it beside the reply.")


def _verify_stamp(study: Study, reply: Path, asked: Path | None, root: Path | None, *, as_json: bool) -> None:
    from panel.claims.time_stamp import verify_time_stamp
    from panel.study.raw_table import read_raw_file

    data, request, roots = (None if path is None else read_raw_file(path).content for path in (reply, asked, root))
    found = verify_time_stamp(data or b"", study.table("claims"), request=request, roots=roots)
    if as_json:
        print_json(parts_of(found, "claims", "when", "authority", "problems", "notes"))
    else:
        print_lines(found.words, *found.problems[1:], *found.notes)
    if found.problems:
        raise SystemExit(1)


def _drafts(study: Study, path: Path, *, as_json: bool) -> None:
    from panel.claims.judge import DRAFT, judge_drafts
    from panel.study.raw_table import raw_table, read_raw_file

    table = raw_table(read_raw_file(path))
    rows = [dict(zip(table.header, cells, strict=True)) for cells in zip(*table.columns, strict=True)]
    drafts = judge_drafts(study, rows)
    if as_json:
        names = ("claim", "kind", "verdict", "reasons", "needs", "not_covered", "may_be_said", "footnote", "also_said")
        listed = [parts_of(each, *names) | {"draft": True} for each in drafts]
        print_json({"claims": listed, "draft": True, "notes": [DRAFT]})
        return
    from panel.views.decision.claims import local_law, verdict_words

    print_lines(DRAFT, "")
    for each, row in zip(drafts, rows, strict=True):
        print_lines(f"{verdict_words(each.verdict)} | “{each.claim}”")
        for head, texts in (("", each.reasons), ("It would take: ", each.needs)):
            print_lines(*(f"  {head}{text}" for text in texts))
        print_lines(*([f"  What may be said: {each.may_be_said}"] if each.may_be_said else []))
        stated = shlex.join([str(row.get("attribute", "")), each.also_said])
        state = f"  In the study's own words: afterfeel set STUDY also-said {stated} --who NAME"
        print_lines(*([state] if each.also_said else []), "")
    print_lines(local_law())


def _with_words(row: dict[str, Any], result: Any) -> dict[str, Any]:
    from panel.views.decision.claims import needs_of, reasons_of

    number = int(row["number"])
    told = {"reasons": reasons_of(result, number), "needs": needs_of(result, number)}
    not_covered = [words for words in str(row["not_covered"]).split(", ") if words]
    return row | told | {"not_covered": not_covered, "may_be_said": row["suggestion"]}


@click.command()
@study_argument
@click.option("--seed", type=int, default=1, help="Seed of the permutations.")
@all_option
@json_option
def trace(study: Path, seed: int, everything: bool, as_json: bool) -> None:
    """Trace the differences back to the emollients, and say what to make next."""
    from panel.answers import DESCRIPTORS, LADDER, SWAPS, Answers, NoAnswer

    answers = Answers(open_path(study), seed)
    traced, described, ladder = answers.need(SWAPS), answers.need(DESCRIPTORS), answers.need(LADDER)
    following = answers.next
    if as_json:
        content: dict[str, Any] = {"moves": traced.n_moves, "singular_values": traced.moves}
        content |= parts_of(traced, "aliases", "swaps", "joint", "interactions", "pairs")
        content["descriptors"] = described.values
        content |= {"verdicts": ladder.verdicts, "prediction": ladder.prediction, "seed": seed}
        nothing = isinstance(following, NoAnswer)
        content |= {"next": [] if nothing else following.blends}
        notes = (*traced.notes, *described.notes, *ladder.notes, *([_nothing(following)] if nothing else []))
        print_json(content | {"method": ladder.method, "notes": notes})
        return
    _print_trace(answers, everything=everything)


def _print_trace(answers: Answers, *, everything: bool) -> None:
    from panel.answers import NoAnswer
    from panel.study.formulas import emollient_blend
    from panel.views.emollients.blends import tell_blends
    from panel.views.emollients.causes import tell_causes
    from panel.views.emollients.ladder import tell_ladder
    from panel.views.emollients.next_prototype import tell_next
    from panel.views.emollients.swaps import swap_drawers

    names, following = answers.names, answers.next
    print_told(tell_causes(answers.causes, names, *swap_drawers(answers.swaps, names)), everything=everything)
    if everything:
        blend = emollient_blend(answers.study)
        print_told(tell_blends(answers.descriptors, names, blend, answers.swaps), everything=True)
        print_told(tell_ladder(answers.ladder, names), everything=True)
    if isinstance(following, NoAnswer):
        print_lines(_nothing(following))
    elif everything:
        print_told(tell_next(following, names), everything=True)
    else:
        print_lines(tell_next(following, names).headline)


def _nothing(following: NoAnswer) -> str:
    return f"Nothing is proposed: {following.why}"
