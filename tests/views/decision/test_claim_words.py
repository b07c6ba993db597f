"""Words, tables and pictures of claims say what the numbers say. Constructed studies with known counts."""

from dataclasses import replace
from xml.etree import ElementTree

import pandas as pd
import pytest

from panel.checks.moments_recorded import NOT_SHOWN, NOT_STAMPED, STAMPED
from panel.claims.judge import judge_claims
from panel.claims.verdict import CANNOT_TELL, NOT_SUPPORTED, SUPPORTED, VERDICTS
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.study.study import Study
from panel.views.decision.claims import (
    CLAIMS_TABLE,
    _claim_figure,
    _claim_rows,
    _wanted_words,
    claim_pictures,
    claim_tables,
    claims_headline,
    ended,
    footnote_lines,
    kind_words,
    limit_words,
    local_law,
    needs_of,
    reasons_of,
    tell_claims,
    verdict_words,
    what_claims_cannot_show,
    wording_lines,
)
from panel.views.pictures import svg_text
from panel.words import format_number
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with


@pytest.fixture(scope="module")
def result():
    rows = [
        claim_row(
            "most users agreed that it feels soft",
            "agreement",
            question="soft",
            media="pack",
            territory="EU",
            owner="brand",
        ),
        claim_row("8 in 10 feel soft", "agreement", question="soft", bar=80),
        claim_row("less greasy than P2", "superiority", attribute="GREASE", versus="P2", stamped=False),
        claim_row("repairs skin", "beyond_sensory"),
        claim_row("as greasy as P2", "parity", attribute="GREASE", versus="P2", margin=8),
        claim_row("nothing is less greasy", "unsurpassed", attribute="GREASE", competitors="P2", margin=8),
        claim_row("non-greasy", "absolute_negative", attribute="GREASE", question="soft", bar_panel=20),
    ]
    scores = panel_scores({"GREASE": {"P1": 40, "P2": 41}}, seeded(), scatter=3.0, own_view=1.0)
    return judge_claims(study_with(rows, answers=answer_rows(45, 58), scores=scores))


def test_the_headline_counts_verdicts(result):
    words = claims_headline(result)
    told = "2 of 7 sentences hold, 1 of them with limits; adjusted together in 2 families"
    assert words == f"{told}; 1 was not stamped before the data."
    assert claims_headline(judge_claims(study_with([], answers=answer_rows(1, 2)))).startswith("No claim")


def test_a_single_sentence_holds_or_does_not(result):
    frame = result.claims.iloc[[0]].assign(verdict=NOT_SUPPORTED, stamped=STAMPED, p_adjusted=float("nan"))
    assert claims_headline(replace(result, claims=frame)) == "The sentence does not hold."
    open_one = frame.assign(verdict=CANNOT_TELL)
    assert claims_headline(replace(result, claims=open_one)) == "Whether the sentence holds cannot be told yet."
    held = frame.assign(verdict=SUPPORTED, stamped=NOT_STAMPED)
    assert claims_headline(replace(result, claims=held)) == "The sentence holds; it was not stamped before the data."
    not_shown = claims_headline(replace(result, claims=frame.assign(stamped=NOT_SHOWN)))
    assert not_shown == "The sentence does not hold; it was not shown to be stamped before the data."


def test_a_claim_that_was_stamped_before_there_are_any_data_is_not_called_late():
    row = claim_row("less greasy than P2", "superiority", attribute="GREASE", versus="P2")
    unstamped = claim_row("less greasy than P2", "superiority", attribute="GREASE", versus="P2", stamped=False)
    for rows, words in (([row], "."), ([unstamped], "; it was not stamped before the data.")):
        study = study_with(rows, attributes=[{"attribute": "GREASE", "direction": "less", "minutes": 2.0}])
        study = Study(dict(study.tables), {})  # no moment of an answer, no unblinding
        assert study.scores.empty
        judged = judge_claims(study)
        assert judged.claims["exploratory"].all()
        assert claims_headline(judged) == f"Whether the sentence holds cannot be told yet{words}"


def test_the_headline_stays_under_25_words_with_every_verdict_in_it(result):
    frame = pd.DataFrame({"verdict": list(VERDICTS), "stamped": NOT_STAMPED, "exploratory": True})
    frame = frame.assign(p_adjusted=0.1, family="panel", estimate=-3.0, stamped_at="2026-01-05")
    frame.loc[0, ["stamped", "exploratory"]] = [STAMPED, False]
    words = claims_headline(replace(result, claims=frame))
    assert len(words.split()) < 25
    assert words.endswith("adjusted together in 1 family; 7 were not stamped before the data.")


def told_of(result):
    """Return the drawers of the board, a text for each claim, in the order of the claims."""
    number = {f"“{row['claim']}”": row["number"] for row in result.claims.to_dict("records")}
    told = tell_claims(result, Naming())
    drawers = [each for each in told.drawers if any(words in each.title for words in number)]
    drawers.sort(key=lambda each: min(place for words, place in number.items() if words in each.title))
    return [" ".join([f"{each.title}.", *(in_words(item, told) for item in each.items)]) for each in drawers]


def in_words(item, told):
    return item if isinstance(item, str) else " ".join(told.shown(item).texts.to_numpy().ravel())


def test_every_claim_has_its_line(result):
    lines = told_of(result)
    assert lines[0].startswith(
        "✓ supported as worded: “most users agreed that it feels soft”. 45 of 58 (77.5 %) agreed or agreed strongly "
    )
    assert lines[1].startswith("✗ not supported: “8 in 10 feel soft”. What may be said: 77 % agreed")
    assert " 45 of 58 " in lines[1]
    assert lines[3].startswith("– not a matter for this tool: “repairs skin”. 'repairs' belongs to physiology")


def test_a_line_says_what_is_lacking_and_where_the_attribute_is_not_named():
    rows = [
        claim_row("less greasy than P9", "superiority", attribute="GREASE", versus="P9"),
        claim_row("nicer than P2", "superiority", attribute="GREASE", versus="P2"),
    ]
    scores = panel_scores({"GREASE": {"P1": 20, "P2": 60}}, seeded(), scatter=3.0, own_view=1.0)
    lines = told_of(judge_claims(study_with(rows, scores=scores)))
    assert "The prototype 'P9' is not in the study." in lines[0]
    assert "The sentence names nothing that was judged." in lines[1]


def test_a_wording_ends_with_one_full_stop():
    assert ended("less greasy") == "less greasy."
    assert ended("agreed: “It is soft.” (4 of 5)") == "agreed: “It is soft.” (4 of 5)."
    assert ended("agreed: “It is soft.”") == "agreed: “It is soft.”"


def test_one_claim_in_words(result):
    assert reasons_of(result, 1)[0].startswith("45 of 58 (77.5 %) agreed or agreed strongly (95 % interval ")
    assert needs_of(result, 1) == []
    assert needs_of(result, 2)
    assert any("never rounded up" in line for line in wording_lines(result, 2))
    assert footnote_lines(result, 1)[0].startswith("Home-use test, 58 people")
    assert footnote_lines(result, 4) == []
    assert _wanted_words(result, 1) == ["Wanted by: brand. To be used in: pack; EU."]
    assert _wanted_words(result, 3) == []
    assert any("were stamped before the data were seen" in line for line in reasons_of(result, 3))


def test_verdicts_carry_a_sign_and_kinds_their_words():
    assert verdict_words(SUPPORTED) == "✓ supported as worded"
    assert len({verdict_words(v)[0] for v in VERDICTS}) == 7
    assert kind_words("parity") == "as good as another"
    assert kind_words("nonsense") == "nonsense"


def test_local_law_is_always_said():
    assert "Local law decides" in local_law()
    assert what_claims_cannot_show()[0] == local_law()


def test_tables_hold_what_a_person_reads(result):
    table = shown(CLAIMS_TABLE, result, Naming())
    verdicts = table.set_index("Sentence")["Verdict"]
    assert verdicts["most users agreed that it feels soft"] == "✓ supported as worded"
    assert verdicts["8 in 10 feel soft"] == "✗ not supported"
    assert verdicts["repairs skin"] == "– not a matter for this tool"
    assert table["Estimate"].iloc[0] == "77.5 %"  # cut, not 77.6 rounded to 78
    assert table["Stamped beforehand"].tolist().count("no") == 1
    numbers = shown(claim_tables(1)[1], result, Naming())
    assert numbers["Number"].iloc[0] == "agreed (Wilson)"
    assert numbers["Has to lie"].iloc[0] == "above 50.0 %"
    assert numbers["Interval"].iloc[2].startswith("from 66.")
    assert shown(claim_tables(5)[1], result, Naming())["Has to lie"].iloc[0] == "between −8.0 and 8.0"
    assert shown(claim_tables(6)[1], result, Naming())["Interval"].iloc[0].startswith("up to ")
    assert shown(claim_tables(4)[1], result, Naming()).empty
    assert shown(claim_tables(2)[2], result, Naming())["How grave"].iloc[0] == "change the wording"


def test_no_limit_is_told_as_nothing():
    nothing = {"limit_low": float("nan"), "limit_high": float("nan"), "unit": "scale"}
    assert limit_words(nothing, Naming()) == "–"


@pytest.mark.parametrize(("length", "decimals"), [(1.0, 3), (100.0, 1)])
def test_a_claim_has_the_decimals_of_its_scale(length, decimals):
    scores = panel_scores({"film": {"P1": 40.0, "P2": 60.0}}, seeded())
    small = [row | {"score": row["score"] * length / 100} for row in scores]
    asked = claim_row("less film", "superiority", attribute="film", direction="less", versus="P2")
    study = study_with([asked], scores=small, facts={"scale_min": 0, "scale_max": length})
    found, names = judge_claims(study), naming(study)
    assert names.digits == decimals
    told = format_number(found.numbers["estimate"].iloc[0], decimals)
    assert f"is {told} (95 % interval" in " ".join(reasons_of(found, 1))
    assert shown(claim_tables(1)[1], found, names)["Estimate"].iloc[0] == told
    assert told in claim_pictures(found, 1, names)[0].alt


def test_the_picture_draws_each_number_against_its_limit(result):
    assert len(claim_pictures(result, 1, Naming())) == 1
    assert claim_pictures(result, 4, Naming()) == []
    rows = _claim_rows(result, 1, "%", Naming())
    assert rows["filled"].all()
    assert not _claim_rows(result, 2, "%", Naming())["filled"].any()
    axes = _claim_figure(result, 1, "%", Naming()).axes[0]
    uprights = [line for line in axes.lines if len(set(line.get_xdata())) == 1 and len(line.get_xdata()) == 2]
    assert {float(line.get_xdata()[0]) for line in uprights} == {50.0}
    # an absolute negative is held against a bar of the scale and a share of people: two pictures
    assert [picture.name for picture in claim_pictures(result, 7, Naming())] == ["claim_7_1", "claim_7_2"]


def test_an_open_end_reaches_the_edge_of_the_picture(result):
    axes = _claim_figure(result, 6, "scale", Naming()).axes[0]
    interval = axes.collections[0].get_segments()[0]
    assert interval[:, 0].min() == pytest.approx(axes.get_xlim()[0])


def test_claims_stand_from_supported_to_not_wherever_they_are_listed(result):
    """The heading says: from supported to not; what is open stands between, what is not judged here at the end."""
    order = ["supported as worded", "supported as worded, in these batches", "not as worded: this may be said"]
    order += ["cannot tell yet", "not supported", "not a matter for this tool"]
    assert list(dict.fromkeys(result.in_order["verdict"])) == order
    told = tell_claims(result, Naming())
    sentences = list(result.in_order["claim"])
    assert [text.strip("“”") for text in told.shown(told.table).texts["Sentence"]] == sentences  # command and page
    assert [each.title.rpartition(": “")[2].strip("”") for each in told.drawers[:-1]] == sentences
    assert list(shown(CLAIMS_TABLE, result, Naming())["Sentence"]) == sentences  # the evidence file


def test_the_picture_says_its_numbers_to_those_who_hear_it(result):
    (drawn,) = claim_pictures(result, 1, Naming())
    text = svg_text(drawn.figure(), title=drawn.title, description=drawn.alt, text_as_paths=False)
    root = ElementTree.fromstring(text)
    words = " ".join("".join(node.itertext()) for node in root.iter())
    assert "Numbers behind the claim: agreed, Wilson 77.5 %" in words
    assert drawn.svg == claim_pictures(result, 1, Naming())[0].svg


def test_the_board_gives_what_is_refused_another_ground_than_what_holds_or_is_open(result):
    axes = tell_claims(result, Naming()).picture.draw(9.0).axes[0]
    heads = {verdict_words(verdict): verdict for verdict in VERDICTS}
    said = [heads.get(text.get_text().replace("\n", " ")) for text in axes.texts]
    grounds = {}
    for verdict, patch in zip([verdict for verdict in said if verdict], axes.patches, strict=True):
        grounds.setdefault(verdict, set()).add(patch.get_facecolor())
    assert all(len(each) == 1 for each in grounds.values())
    held, refused, open_ = (grounds[verdict] for verdict in (SUPPORTED, NOT_SUPPORTED, CANNOT_TELL))
    assert held.isdisjoint(refused | open_)
    assert refused.isdisjoint(open_)
