"""The page Servings: sizes of panels in the units of the study's own scale, which is asked for where it is unknown."""

import numpy as np
import pandas as pd
import pytest

from panel.app.state import STUDY_VARIABLE
from panel.plan.study_plan import plan_study, with_plan
from panel.study.folder import read_folder, write_study
from panel.study.study import Study
from tests.app.running import part_of_app, with_open_drawers

UNKNOWN = (np.nan, np.nan)


def page(folder, monkeypatch, *ends, scored=False):
    """Return the page Servings of a study of five prototypes with an attribute for each pair of ends."""
    names = [f"T{n}" for n in range(len(ends))]
    people, prototypes = [f"A{n}" for n in range(1, 9)], [f"P{n}" for n in range(1, 6)]
    rng = np.random.default_rng(5)
    rows = [
        {"assessor": who, "prototype": what, "attribute": name, "replicate": str(time),
         "score": low + (high - low) * (0.5 + 0.08 * rng.standard_normal())}
        for who in people for what in prototypes for time in (1, 2)
        for name, (low, high) in zip(names, ((0, 10) if np.isnan(e[0]) else e for e in ends), strict=True)
    ]  # fmt: skip
    tables = {
        "prototypes": pd.DataFrame({"prototype": prototypes}),
        "assessors": pd.DataFrame({"assessor": people, "kind": "trained"}),
        "attributes": pd.DataFrame(
            {"attribute": names, "scale_min": [low for low, _ in ends], "scale_max": [high for _, high in ends]}
        ),
    }
    if scored:
        tables["scores"] = pd.DataFrame(rows)
    write_study(Study(tables, {"title": "Sizes"}), folder / "sizes")
    monkeypatch.setenv(STUDY_VARIABLE, str(folder / "sizes"))
    app = with_open_drawers(part_of_app("servings"))
    assert not app.exception
    return app


def lines(app):
    return (
        " ".join(part.value for part in [*app.header, *app.markdown, *app.warning, *app.caption])
        .replace("\\", "")
        .replace("\u00a0", " ")
    )


def field(app, label):
    return next(widget for widget in app.text_input if widget.label.startswith(label))


@pytest.mark.parametrize(
    ("ends", "size", "scale"),
    [
        ((0, 10), "0.80", "0 to 10"),
        ((0, 15), "1.20", "0 to 15"),
        ((1, 9), "0.64", "1 to 9"),
        ((0, 100), "8.0", "0 to 100"),
    ],
)
def test_the_usual_difference_is_a_part_of_the_studys_own_scale(ends, size, scale, tmp_path, monkeypatch):
    app = page(tmp_path, monkeypatch, ends, ends)
    words = lines(app)
    # planning values 5 and 8 % of the scale, a difference of 8 %: the same people on every scale
    # for 15 and 14 people who score twice the noncentral t distribution gives 81 and 79 %
    assert f"15 people who score everything twice will probably find a difference of {size} ({scale})." in words
    assert field(app, "Smallest difference").label == f"Smallest difference that matters ({scale})"


def test_own_scatter_and_the_usual_difference_are_in_the_same_units(tmp_path, monkeypatch):
    # the same scores, stretched: the people needed stay the same
    needed = []
    for number, ends in enumerate([(0, 10), (0, 100)]):
        (tmp_path / str(number)).mkdir()
        words = lines(page(tmp_path / str(number), monkeypatch, ends, scored=True))
        needed.append(words.partition("who score everything")[0].rpartition("**")[2])
    assert needed[0] == needed[1] != ""


def test_scales_of_different_length_are_planned_in_per_cent_of_each(tmp_path, monkeypatch):
    app = page(tmp_path, monkeypatch, (0, 10), (0, 100), scored=True)
    assert "will probably find a difference of 8.0 % of each scale." in lines(app)
    assert field(app, "Smallest difference").label == "Smallest difference that matters (% of each scale)"


def test_a_scale_that_the_study_does_not_say_is_asked_for(tmp_path, monkeypatch):
    app = page(tmp_path, monkeypatch, UNKNOWN)
    assert "does not say where the scale of T0 begins and ends" in lines(app)
    assert "will probably find" not in lines(app)
    field(app, "Lowest possible score").set_value("0")
    field(app, "Highest possible score").set_value("10").run()
    assert not app.exception
    assert "will probably find a difference of 0.80." in lines(app)


def test_the_plan_in_the_study_is_what_is_shown_and_another_one_is_called_so(tmp_path, monkeypatch):
    page(tmp_path, monkeypatch, (0, 10))
    study = read_folder(tmp_path / "sizes")
    plan = plan_study(study, np.random.default_rng(1), replicates=4, per_session=5)
    write_study(with_plan(study, plan, "EK"), tmp_path / "sizes", overwrite=True)
    app = with_open_drawers(part_of_app("servings"))
    assert field(app, "Times each sample is scored").value == "4"
    assert field(app, "Samples in a session at most").value == "5"
    assert "another plan" not in lines(app)
    field(app, "Seed of the order").set_value("2").run()
    assert not app.exception
    assert "The study has its own 160 servings" in lines(app)  # 8 people, 5 prototypes, 4 times
    assert "What follows is another plan, to compare; serve nothing by it." in lines(app)


def test_a_difference_larger_than_the_scale_is_refused(tmp_path, monkeypatch):
    app = page(tmp_path, monkeypatch, (0, 10))
    field(app, "Smallest difference").set_value("80").run()
    assert not app.exception
    assert "A difference of 80 does not fit on a scale that is 10 long" in lines(app)
