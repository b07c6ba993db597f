"""What is told is read back and set beside the rows of its answer: every mark, every cell and every sentence.

Each mark, interval, bar and remark of a picture stands at the numbers of the row that its line names: the name on the
axis (or the prototype whose mark it is), the place and both ends must stand in one row. Where two frames meet in a
picture without names on its axis, each number is looked for by itself. Each number in a cell is one of its row, to the
decimals shown, with its sign, or in per cent; ends are in order. Each sentence agrees with the rows: intervals, shares,
signs, who lies higher, one and many. None of the functions that wrote them is asked again.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Annotation

from panel.answers import Answers
from panel.claims.verdict import AS_WORDED, CONTRARY, NOT_SUPPORTED
from panel.models.emollients.causes import STANDS_OUT
from panel.study.shown import Column, Table
from panel.study.study import Study
from panel.views.decision.claims import verdict_words
from panel.views.pictures import BROAD, NARROW, marker_of
from panel.views.told import ELSE_TO_MIND, Picture, Shown, Told
from tests.as_before import differing, read_lines
from tests.views.as_told import FOLDER, NARROWED, PLANS, lines_told
from tests.views.every_picture import demo_answers, everything_told
from tests.views.held import (
    NUMBER,
    STUDIES,
    all_told,
    frames,
    holds,
    numbers_in,
    planned_told,
    study_told,
    told_numbers,
    words_in,
)


@pytest.fixture(scope="module", params=STUDIES)
def study_name(request) -> str:
    return request.param


@pytest.fixture(scope="module")
def answers(study_name) -> Answers:
    return STUDIES[study_name]()


@pytest.fixture(scope="module")
def everything(answers) -> Iterator[list[Told]]:
    """Everything that is told of a study, each picture drawn once for a width."""
    with pytest.MonkeyPatch.context() as changed:
        changed.setattr(Picture, "figure", cache(Picture.figure))
        yield all_told(answers)


_ANEW = "{} lines; if it is wanted: python -m tests.views.as_told. First: {}"


def test_what_is_told_is_what_was_told_before(study_name, answers, everything):
    told = [*everything, *study_told(answers)]
    changed = differing(read_lines(FOLDER, study_name), lines_told(told, narrow=study_name == NARROWED))
    assert not changed, _ANEW.format(len(changed), changed[0])


def test_what_is_told_of_plans_is_what_was_told_before():
    changed = differing(read_lines(FOLDER, PLANS), lines_told(planned_told()))
    assert not changed, _ANEW.format(len(changed), changed[0])


def test_no_view_of_the_demo_needs_more_than_three_sentences_to_mind(study_name, everything):
    drawers = {each.title for told in everything for each in told.every_drawer()}
    assert study_name != "demo" or ELSE_TO_MIND not in drawers


# Marks, intervals, bars and remarks of pictures.

TWELVE_DIGITS = 1e-9
_FEW = 25  # tables, or answers told: of scores alone there are fewer
_MARK = "prototype "
_BETWEEN = " – | rather than | against "
# Drawn on a scale of their own (the same share of both axes, widths around zero, pixels), or from rows not kept.
_OWN_SCALE = {"map", "joint_map", "causes", "how_sure", "chances", "claims_board", "force"}
_OWN_LINES = {"differences", "means", "windows", "windows_versus", "what_if"}  # where attributes have several scales

Row = tuple[np.ndarray, set[str]]


@pytest.fixture(scope="module")
def pictures(everything) -> list[tuple[Picture, list[Row], list[Figure]]]:
    """Every picture with the rows of its answer, drawn for a page; those of the demo also for a phone."""
    found, widths = [], (BROAD, NARROW) if len(everything) > _FEW else (BROAD,)
    for told in everything:
        items = [told.picture, *(item for each in told.every_drawer() for item in each.items)]
        left_out = _OWN_SCALE | (_OWN_LINES if told.names.mixed else set())
        own = {each.name: each for each in items if isinstance(each, Picture) and each.name not in left_out}
        rows = _rows(told) if own else []
        found += [(each, rows, [each.figure(width) for width in widths]) for each in own.values()]
    return found


def _rows(told: Told) -> list[Row]:
    every = [row for frame in frames(told.result) for row in frame.reset_index().to_dict("records")]
    found = [(numbers_in(row), words_in(row, told.names)) for row in every]
    if told.result.__class__.__name__ == "Assumptions":  # the bar of an assessor's scatter lies around zero
        found = [(np.concatenate([numbers, -numbers, [0.0]]), words) for numbers, words in found]
    return found


def _in_numbers(axes: Axes, artist) -> bool:
    return artist.get_transform().contains_branch_seperately(axes.transData) == (True, True)


def named_lines(figure: Figure) -> Iterator[tuple[Axes, list[tuple[float, str]]]]:
    """The parts of a figure, with the names at the left of their lines; parts side by side share them."""
    shared: tuple = ((), [])
    for axes in figure.axes:
        labels = [label.get_text().replace("\n", " ") for label in axes.get_yticklabels()]
        own = [(at, name) for at, name in zip(axes.get_yticks(), labels, strict=False) if re.search("[A-Za-z]", name)]
        if own:
            shared = (axes.get_ylim(), own)
        yield axes, own or (shared[1] if shared[0] == axes.get_ylim() else [])


def _named(rows: list[Row]) -> Callable[[str], list[Row]]:
    """Return what gives the rows of a label: they hold all it names, save what is in brackets or cut off."""

    @cache
    def of_label(label: str) -> list[Row]:
        label = re.sub("^candidate ", "", label).partition(" (")[0].rstrip("…")
        ways = [[part.rstrip() for part in re.split(between, label)] for between in (_BETWEEN, f"{_BETWEEN}|, ")]
        return [row for row in rows if any(all(_begins(row[1], part) for part in way) for way in ways)]

    return of_label


def _begins(words: set[str], part: str) -> bool:
    return any(word.startswith(part) for word in words)


def _has(numbers: np.ndarray, wanted: list[float]) -> bool:
    both = np.concatenate([numbers, 100 * numbers])
    return all((np.abs(both - each) <= TWELVE_DIGITS * max(1.0, abs(each))).any() for each in wanted)


def _nearest(lines: list[tuple[float, str]], y: float) -> str:
    return min(lines, key=lambda line: abs(line[0] - y))[1]


def test_each_mark_and_interval_stands_at_the_numbers_of_its_row(pictures):
    tried = Counter()
    for picture, rows, figures in pictures:
        named = _named(rows)
        for axes, lines in (part for figure in figures for part in named_lines(figure)):
            groups = [group for group in axes.collections if isinstance(group, LineCollection)]
            pieces = [piece for group in groups if _in_numbers(axes, group) for piece in group.get_segments()]
            ends = axes.get_xlim()
            for line in axes.lines:
                if line.get_marker() in (None, "None", "", " ") or not _in_numbers(axes, line):
                    continue
                gid = str(line.get_gid())
                who = {gid.removeprefix(_MARK)} if gid.startswith(_MARK) else set()
                for x, y in np.asarray(line.get_xydata(), dtype=float):
                    if picture.name == "after_feel":  # marks of one time stand side by side
                        x = float(min(axes.get_xticks(), key=lambda tick: abs(tick - x)))
                    if not lines:
                        near = [numbers for numbers, words in rows if who <= words]
                        assert all(any(_has(own, [at]) for own in near) for at in (x, y)), (picture.name, who, x, y)
                        tried[picture.name] += 1
                        continue
                    drawn_to = (-1.5, 2.0) if picture.name == "assessors" else np.round(ends, 0)
                    if x in ends or x in drawn_to:  # what lies beyond is drawn at the edge
                        continue
                    label = _nearest(lines, y)
                    own = [piece for piece in pieces if len(piece) == 2 and (np.abs(piece[:, 1] - y) < 1e-9).all()]
                    if picture.name == "residual_spread" and line.get_marker() == "o":  # each score, under the bar
                        own = []
                    reach = (
                        [float(at) for at in own[0][:, 0]] if len(own) == 1 and set(own[0][:, 0]) != set(ends) else []
                    )
                    near = [numbers for numbers, words in named(label) if who <= words]
                    assert any(_has(numbers, [x, *reach]) for numbers in near), (picture.name, label, who, x, reach)
                    assert not reach or reach[0] <= x <= reach[1], (picture.name, label)
                    tried[picture.name] += 1
    assert tried.total() > 2


def test_each_bar_is_as_wide_as_a_number_of_its_row_and_the_text_in_it_says_so(pictures):
    tried = Counter()
    for picture, rows, figures in pictures:
        named = _named(rows)
        for axes, lines in (part for figure in figures for part in named_lines(figure)):
            bars = [bar for bar in axes.patches if isinstance(bar, Rectangle) and _in_numbers(axes, bar) and lines]
            for bar in bars:
                label = _nearest(lines, bar.get_y() + bar.get_height() / 2)
                if picture.name in ("liking_distribution", "just_about_right"):
                    assert any(_has(numbers, [bar.get_width()]) for numbers, _ in named(label)), (picture.name, label)
            for text in axes.texts:
                x, y = text.get_position()
                inside = [
                    bar for bar in bars
                    if 0 < x - bar.get_x() < bar.get_width() and 0 < y - bar.get_y() < bar.get_height()
                ]  # fmt: skip
                if len(inside) == 1 and "%" in text.get_text():
                    width = np.array([inside[0].get_width()])
                    assert holds(width, *told_numbers(text.get_text())[-1]), (picture.name, text.get_text())
                    tried[picture.name] += 1


def test_each_remark_beside_a_line_says_numbers_of_that_line(pictures):
    tried = Counter()
    for picture, rows, figures in pictures:
        named = _named(rows)
        for axes, lines in (part for figure in figures for part in named_lines(figure)):
            beside = [text for text in axes.texts if text.get_transform() == axes.get_yaxis_transform()]
            for text in beside if lines else []:
                told = told_numbers(text.get_text().replace("\n", " "))
                label = _nearest(lines, text.get_position()[1])
                if told and picture.name != "assessors" and NUMBER.search(text.get_text()):
                    counted = [one / other for (one, _), (other, _) in pairwise(told) if other]
                    assert any(
                        all(holds(np.concatenate([numbers, counted]), *each, cut=True) for each in told)
                        for numbers, _ in named(label)
                    ), (picture.name, label, text.get_text())
                    tried[picture.name] += 1


def test_the_head_of_an_arrow_lies_at_its_end_and_in_the_picture(pictures):
    for picture, _, figures in pictures:
        for axes in (axes for figure in figures for axes in figure.axes):
            ends = np.sort([axes.get_xlim(), axes.get_ylim()])
            arrows = [each for each in axes.texts if isinstance(each, Annotation) and each.arrowprops]
            for arrow in arrows:
                if arrow.arrowprops.get("arrowstyle") != "-|>" or arrow.xycoords != "data":
                    continue
                tip, start = np.array(arrow.xy, dtype=float), np.array(arrow.xyann, dtype=float)
                assert ((ends[:, 0] <= tip) & (tip <= ends[:, 1])).all(), picture.name
                assert np.linalg.norm(tip - start) <= 0.1 * np.linalg.norm(tip), picture.name  # all begin at 0, 0


# Pictures on a scale of their own.

SAME_PLACE = 1e-6  # of places that were multiplied by one factor


def _drawn(everything: list[Told], name: str) -> Iterator[tuple[Told, Figure]]:
    """A picture of that name, for a page and for a phone, where it is told."""
    for told in everything:
        items = [told.picture, *(item for each in told.every_drawer() for item in each.items)]
        for picture in (each for each in items if isinstance(each, Picture) and each.name == name):
            yield from ((told, picture.figure(width)) for width in (BROAD, NARROW))


def test_a_map_keeps_the_places_of_its_rows_to_one_factor(everything):
    for told, figure in _drawn(everything, "map"):
        marks = {str(line.get_gid()).removeprefix(_MARK): line for line in figure.findobj(Line2D) if line.get_gid()}
        places = told.result.prototypes.set_index("prototype")
        assert set(marks) == set(places.index)
        if "component_2" not in places or figure.axes[0].get_yticks().size:
            continue  # along one direction the marks stand at their numbers
        true = places[["component_1", "component_2"]].loc[list(marks)].to_numpy()
        drawn = np.array([line.get_xydata()[0] for line in marks.values()])
        factor = np.abs(drawn).max() / np.abs(true).max()
        np.testing.assert_allclose(drawn, factor * true, atol=SAME_PLACE)
        regions = told.result.regions.dropna(subset=["half_axis_1"]).to_dict("records")
        rings = [each for each in figure.findobj(Polygon) if not each.get_fill()]
        assert len(rings) == len(regions)
        for row, ring in zip(regions, rings, strict=True):
            assert to_hex(ring.get_edgecolor()) == to_hex(marker_of(told.names, str(row["prototype"])).colour)
            away = ring.get_xy() / factor - [row["centre_1"], row["centre_2"]]
            turn = np.radians(row["angle"])
            along = away @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
            inside = (along / [row["half_axis_1"], row["half_axis_2"]]) ** 2
            np.testing.assert_allclose(inside.sum(axis=1), 1, atol=SAME_PLACE)
        wide = told.result.attributes.pivot_table(index="attribute", columns="component", values="loading", sort=False)
        arrows = [each for each in figure.findobj(Annotation) if each.arrowprops]
        np.testing.assert_allclose([each.xy for each in arrows], wide[[1, 2]].to_numpy())
        labels = {text.get_text(): text.get_position() for text in figure.axes[0].texts}
        for side in (1, -1):  # names in a column, in the order of the arrows' heads
            own = [
                (labels[words][1], wide.loc[name, 2])
                for name in wide.index
                if (words := told.names.attribute(str(name))) in labels and labels[words][0] * side > 0
            ]
            assert sorted(own) == sorted(own, key=lambda pair: pair[1])


def test_a_joint_map_keeps_the_places_of_its_rows(everything):
    for told, figure in _drawn(everything, "joint_map"):
        rows = [frame for frame in frames(told.result) if {"component_1", "component_2"} <= set(frame)]
        true = np.vstack([frame[["component_1", "component_2"]].to_numpy(dtype=float) for frame in rows])
        points = [line.get_xydata() for line in figure.axes[0].lines if line.get_marker() not in ("None", None, "")]
        assert len(points)
        for point in np.vstack(points):
            assert np.abs(true - point).max(axis=1).min() <= SAME_PLACE


def test_a_cell_of_the_causes_shows_its_change_and_interval_on_the_scale_of_all(everything):
    for told, figure in _drawn([told for told in everything if not told.names.mixed], "causes"):
        (axes,), cells = figure.axes, told.result.cells
        lines = [line for line in axes.lines if len(line.get_xdata()) == 2]
        ups = [line for line in lines if np.ptp(line.get_xdata()) == 0]
        found = []
        for dot in (line for line in axes.lines if line.get_marker() == "o"):
            ((x, y),) = dot.get_xydata()
            near = [line for line in ups if np.mean(line.get_ydata()) == pytest.approx(y)]
            if near:  # the key has none
                middle = min((line.get_xdata()[0] for line in near), key=lambda at: abs(at - x))
                level = [
                    line.get_xdata() for line in lines if np.ptp(line.get_xdata()) and (line.get_ydata() == y).all()
                ]
                ends = [at - middle for at in level if at[0] - 1e-9 <= x <= at[1] + 1e-9]
                full = to_hex(dot.get_markerfacecolor()) != to_hex("white")
                found.append((x - middle, ends, full, dot.get_markeredgecolor()))
        scale = max(abs(at) for at, *_ in found) / cells["estimate"].abs().max()
        if len(found) < len(cells):  # on a phone the least of them stand in the table
            kept = cells["estimate"].abs() * scale
            scale *= 1 if np.isclose(kept.max(), max(abs(at) for at, *_ in found)) else np.nan
        for at, ends, full, _ in found:
            own = cells.loc[np.isclose(cells["estimate"], at / scale, atol=1e-6)]
            assert len(own), at / scale
            assert full in set(own["mark"] == STANDS_OUT)
            for low, high in ends[:1]:
                told_ends = own[["told_low", "told_high"]].to_numpy(dtype=float) * scale
                assert np.isclose(told_ends, [low, high], atol=1e-5).all(axis=1).any()
        assert len(found) == len(cells) or figure.get_figwidth() <= NARROW or cells["attribute"].nunique() > 8


def test_where_attributes_have_several_scales_each_line_has_its_own_with_its_ends_in_words():
    seconds = STUDIES["seconds"]().study
    table = seconds.table("attributes")
    own_margin = table.assign(margin=np.where(table["attribute"] == "SOAK", 5.0, np.nan))
    stated = Study(dict(seconds.tables) | {"attributes": own_margin}, seconds.facts)
    for told, figure in _drawn(all_told(Answers(stated)), "differences"):
        rows = told.result.versus
        ends = rows.groupby("attribute", sort=False)[["ci_low", "ci_high"]].agg(lambda own: own.abs().max()).max(axis=1)
        labels = [text.get_text() for text in figure.axes[0].get_yticklabels()]
        assert labels[0].endswith(f" (±{ends['GREASE']:.2f})")
        assert labels[1].endswith(f" (±{ends['SOAK']:.1f}\u00a0s)")
        for axes, (prototype, own) in zip(figure.axes, rows.groupby("prototype", sort=False), strict=True):
            assert len(axes.get_xticks()) == 0
            marks = [line for line in axes.lines if line.get_gid() == f"{_MARK}{prototype}" and _in_numbers(axes, line)]
            drawn = sorted((y, x) for line in marks for x, y in line.get_xydata())
            np.testing.assert_allclose([x for _, x in drawn], own["estimate"].to_numpy() / ends.loc[own["attribute"]])
            bands = [band.get_width() / 2 for band in axes.patches]
            np.testing.assert_allclose(
                bands, own["attribute"].map({"GREASE": 1.0, "SOAK": 5.0}) / ends.loc[own["attribute"]].to_numpy()
            )


def test_a_chance_stands_under_its_window_beside_its_prototype(everything):
    tried = 0
    for told, figure in _drawn(everything, "chances"):
        (axes,), result = figure.axes, told.result
        beside = [text for text in axes.texts if text.get_ha() == "right"]
        heads = [text for text in axes.texts if text.get_va() == "bottom" and text.get_ha() == "center"]
        for text in (text for text in axes.texts if text.get_va() == "center" and text.get_ha() == "center"):
            x, y = text.get_position()
            line = min(beside, key=lambda each: abs(each.get_position()[1] - y))
            who = line.get_text().removesuffix(" (out)")
            over = [head for head in heads if abs(head.get_position()[0] - x) < 1e-9 and head.get_position()[1] < y]
            head = max(over, key=lambda each: each.get_position()[1]).get_text().replace("\n", " ")
            own = result.windows.loc[result.windows["prototype"] == who]
            named = np.array([head.startswith(told.names.attribute(str(name))[:8]) for name in own["attribute"]])
            ranked = result.ranking.loc[result.ranking["prototype"] == who, ["chance_all", "chance_all_versus"]]
            true = own.loc[named, "read_chance"].to_numpy() if named.any() else ranked.to_numpy(dtype=float)[0]
            for number, digits in told_numbers(re.sub(r"[<>] ", "", text.get_text())):
                assert (np.abs(100 * true - number) <= 1.0 * 10.0**-digits).any(), (who, head, text.get_text())
                tried += 1
    assert tried or not any(told.result.__class__.__name__ == "Decision" for told in everything)


def test_a_claim_on_the_board_stands_beside_its_own_verdict(everything):
    for told, figure in _drawn(everything, "claims_board"):
        (axes,), rows = figure.axes, told.result.claims
        shades: dict[str, set[str]] = {}
        boxes = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
        assert len(boxes) == len(rows)
        for box in boxes:
            texts = [
                text.get_text().replace("\n", " ")
                for text in axes.texts
                if 0 < text.get_position()[1] - box.get_y() < box.get_height()
            ]
            claim = next(text for text in texts if text.startswith("“")).strip("“”")
            own = rows.loc[rows["claim"] == claim, "verdict"]
            assert any(verdict_words(str(verdict)) in texts for verdict in own), claim
            for verdict in own:
                shades.setdefault(str(verdict), set()).add(to_hex(box.get_facecolor()))
        assert all(len(found) == 1 for found in shades.values()) or rows["claim"].duplicated().any()
        held = {
            each for verdict, found in shades.items() if verdict in AS_WORDED and verdict != CONTRARY for each in found
        }
        assert len(held) <= 1
        others = [next(iter(shades[verdict])) for verdict in (CONTRARY, NOT_SUPPORTED) if verdict in shades]
        assert len({*held, *others}) == len(held) + len(others)


_STEPS = {
    "driver": "a property of the blend", "swaps": "beyond the scatter of assessors and of prototypes",
    "assessors": "of the assessors only", "along": "goes along with it", "unclear": "no swap stands out",
    "alike": "no difference is shown",
}  # fmt: skip


def test_a_sensation_stands_on_the_step_that_it_reached(everything):
    for told, figure in _drawn(everything, "how_sure"):
        lines: dict[float, list[str]] = {}
        for text in sorted(figure.axes[0].texts, key=lambda each: each.get_position()[0]):
            lines.setdefault(text.get_position()[1], []).append(text.get_text().replace("\n", " "))
        verdicts = told.result.verdicts
        for (step, on), kind in zip(lines.values(), _STEPS, strict=True):
            assert _STEPS[kind] in step
            names = [told.names.attribute(str(name)) for name in verdicts.loc[verdicts["verdict"] == kind, "attribute"]]
            assert [each.strip("“”") for each in on.split(" · ")] == (names or ["–"])


def test_a_force_curve_goes_through_its_points(everything):
    for told, figure in _drawn(everything, "force"):
        points, peaks = told.result.force.points, told.result.force.peaks
        for axes, (prototype, own) in zip(figure.axes, points.groupby("prototype", sort=False), strict=True):
            assert axes.get_title(loc="left") == prototype
            curves = [line.get_xydata() for line in axes.lines if line.get_transform() == axes.transData]
            for (_, curve), drawn in zip(own.groupby("repeat", sort=False), curves, strict=True):
                np.testing.assert_array_equal(drawn, curve[["along", "force"]].to_numpy(dtype=float))
            turn = float(peaks.loc[peaks["prototype"] == prototype, "peak_at"].iloc[0])
            for area in axes.collections:  # the work above zero up to the peak, the pull below it behind
                x, y = area.get_paths()[0].vertices.T
                assert (x <= turn).all() if (y >= 0).all() and y.max() > 0 else (x >= turn).all()


# Cells of tables.

# What a cell shows that no column of its row holds as it is: square roots of variances, and changes from ratios.
_WORKED_OUT = {
    "scatter": lambda row: np.sqrt(np.maximum(row, 0)),
    "reading_swaps": lambda row: row - 1,
}
_WORDS_ONLY = {
    "What it adds", "What it cannot say", "What it says", "Expected", "Measure", "Set by", "At most", "Sentence",
    "Lost", "Together with those before", "8 or 9 (95 % interval)", "7, 8 or 9 (95 % interval)",
}  # fmt: skip


@pytest.fixture(scope="module")
def every_table(everything) -> list[Shown]:
    """Every table of a study once."""
    return [table for told in everything for table in _tables(told)]


def _tables(told: Told) -> Iterable[Shown]:
    items = [told.table, *(item for each in told.every_drawer() for item in each.items)]
    return {(each := told.shown(item)).table.name: each for item in items if isinstance(item, Table | Shown)}.values()


def _in_row(table: Shown, column: Column, row: dict, text: str) -> bool:
    for word in (each for each in row.values() if isinstance(each, str) and re.search(r"\d[. ]|\d$", each[1:])):
        text = text.replace(word, "")
    if not column.cells.__qualname__.startswith("each_row"):
        row = {name: row[name] for name in column.needs}  # these say themselves what they are written from
    held = numbers_in(row)
    if table.table.name in _WORKED_OUT:
        held = np.concatenate([held, _WORKED_OUT[table.table.name](held)])
    counted = [float(one) / float(other) for one, other in re.findall(r"(\d+) of ([1-9]\d*)", text)]
    held = np.concatenate([held, counted])
    for sign, limit in re.findall(r"([<>]) (\d[\d.]*)", text):
        low, high = (0, float(limit)) if sign == "<" else (float(limit), 100)
        if not ((held >= low) & (held <= high)).any() and not ((100 * held >= low) & (100 * held <= high)).any():
            return False
    cut = "%" in text or "%" in column.heading
    numbers = told_numbers(re.sub(r"[<>] \d[\d.]*", "", text))
    return all(holds(held, *each, cut=cut) or (not each[1] and holds(held, -each[0], 0)) for each in numbers)


def test_each_number_of_a_cell_stands_in_its_row(everything, every_table):
    tried = Counter()
    for table in every_table:
        if table.table.across is not None:
            continue
        columns, rows = table.table.columns_of(table.result), table.full.to_dict("records")
        assert len(table.texts) == len(rows)
        for column, heading in zip(columns, table.texts.columns, strict=True):
            for row, text in zip(rows, table.texts[heading], strict=True):
                if heading in _WORDS_ONLY or text in words_in(row, table.names) or not NUMBER.search(text):
                    continue
                assert _in_row(table, column, row, text), (table.table.name, heading, text, row)
                tried[table.table.name] += 1
    assert tried.total() > (50 if len(everything) > _FEW else 10)


def test_each_cell_of_a_table_that_goes_across_begins_with_a_number_of_its_row(everything, every_table):
    tried = 0
    for table in (each for each in every_table if each.table.across is not None):
        down, across, about = table.table.key[0], table.table.across.across, table.texts
        rows, names = table.full, list(dict.fromkeys(table.full[table.table.across.across]))
        if rows.empty:
            continue
        firsts = list(dict.fromkeys(rows[down]))
        assert len(about) == len(firsts)
        cells = about.iloc[:, -len(names) :].set_axis(names, axis=1).set_axis(firsts)
        for row in rows.to_dict("records"):
            text = cells.loc[row[down], row[across]]
            if NUMBER.search(text) and "F(" not in text:
                assert holds(numbers_in(row), *told_numbers(text)[0], cut="%" in text), (table.table.name, text)
                tried += 1
    assert tried > (10 if len(everything) > _FEW else 1) or len(every_table) < _FEW


def test_the_ends_of_an_interval_are_in_order_and_hold_the_number_before_them(everything, every_table):
    tried = 0
    for table in every_table:
        for text in table.texts.to_numpy(dtype="object").ravel():
            for before, low, high in re.findall(
                r"(?:([+−]?\d[\d.,]*)(?: %| of \d+)? \()?(?:above |below )?([+−]?\d[\d.,]*) to ([+−]?\d[\d.,]*)",
                str(text),
            ):
                ends = [float(each.replace("−", "-").replace(",", "")) for each in (low, before, high) if each]
                assert ends == sorted(ends), (table.table.name, text)
                tried += 1
    assert tried > (10 if len(everything) > _FEW else 1) or len(every_table) < _FEW


def test_no_heading_of_a_table_repeats_and_no_cell_is_half_an_interval(every_table):
    for table in every_table:
        bare = [re.sub("^[A-Z]: ", "", heading) for heading in table.texts.columns]  # the letter alone tells nobody
        assert len(set(bare)) == len(bare), table.title
        for column in table.texts:
            assert not table.texts[column].str.contains("– to |to –").any(), (table.title, column)


def test_words_for_a_truth_are_the_same_for_the_same_truth(every_table):
    for table in every_table:
        if table.table.across is not None:
            continue
        columns, rows = table.table.columns_of(table.result), table.full
        for column, heading in zip(columns, table.texts.columns, strict=True):
            own = [name for name in column.needs if name in rows and len(column.needs) == 1]
            for name in own:
                if rows[name].dtype == bool and set(table.texts[heading]) <= {"yes", "no"}:
                    assert list(table.texts[heading]) == ["yes" if each else "no" for each in rows[name]], heading
            told = " ".join(table.texts[heading])
            assert not re.search(r"\b(nan|None|NaT|inf)\b|[{}]", told), (table.table.name, heading)


# Sentences.

_N = r"(?<![\w.])([+−]?\d[\d,]*(?:\.\d+)?)"
_LEVEL = r"[\d.]+ % interval "
_END = r"(?:above |below )?"
# A number with its interval: `−14.1 (97.5 % interval −20.7 to −7.6`, `0.72 (0.49 to 0.81)`, `84 %, 73 to 91 %`.
_WITH_INTERVAL = re.compile(rf"{_N}(?: %)?(?: of \d+)? \((?:{_LEVEL})?{_END}{_N} to {_END}{_N}")
_MANY = "scores? prototypes? attributes? assessors? consumers? pairs? answers? people person targets? windows? curves?"
_ONES = {"person", *(each.rstrip("?").removesuffix("s") for each in _MANY.split() if each.endswith("?"))}
_PLURALS = {"people", *(each.replace("?", "") for each in _MANY.split() if each.endswith("?"))}


def sentences(told: Told) -> Iterator[str]:
    """Everything said of an answer, with what is heard instead of its pictures."""
    items = [told.headline, *told.mind, told.picture, *(item for each in told.every_drawer() for item in each.items)]
    yield from (item.alt if isinstance(item, Picture) else item for item in items if isinstance(item, str | Picture))


def _number(text: str) -> tuple[float, float]:
    plain = text.replace("−", "-").replace("+", "").replace(",", "")
    return float(plain), 10.0 ** -len(plain.partition(".")[2])


def test_a_number_and_the_interval_in_brackets_after_it_stand_in_one_row_and_in_order(everything):
    for told in (each for each in everything if each.result.__class__.__name__ != "Claims"):
        rows = [numbers_in(row) for frame in frames(told.result) for row in frame.to_dict("records")]
        if told.result.__class__.__name__ == "JoinedReadings":
            rows = [np.concatenate([row, row - 1]) for row in rows]  # ratios, told as changes
        for text in sentences(told):
            for found in _WITH_INTERVAL.findall(text):
                values, rooms = zip(*map(_number, found), strict=True)
                assert values[1] <= values[0] <= values[2] or values[0] < 0 <= values[1], (found, text)
                assert any(
                    all((np.abs(factor * row - each) <= room).any() for each, room in zip(values, rooms, strict=True))
                    for row in rows
                    for factor in (1, -1, 100, -100)
                ), (found, text)


def test_an_estimate_and_the_ends_of_its_interval_have_the_same_decimals(everything):
    told_before = re.compile(rf"{_N}(?: on their means)?,? \(?{_LEVEL}{_END}{_N} to {_END}{_N}")
    tried = 0
    for told in everything:
        for text in sentences(told):
            for found in told_before.findall(text):
                assert len({len(each.partition(".")[2]) for each in found}) == 1, (found, text)
                tried += 1
    assert tried or len(everything) < _FEW


def test_a_share_in_brackets_is_that_of_the_counts_before_it(everything):
    for told in everything:
        for text in sentences(told):
            for one, other, share in re.findall(rf"(\d+) of (\d+) \({_N} %\)", text):
                value, room = _number(share)
                assert abs(100 * int(one) / int(other) - value) <= room, text


def test_who_lies_higher_and_who_lower_has_that_sign(everything):
    for told in (each for each in everything if each.result.__class__.__name__ == "Differences"):
        names, rows = told.names, told.result.versus
        by = {(names.attribute(row["attribute"]), row["prototype"]): row for row in rows.to_dict("records")}
        said: list[tuple[str, str, str]] = []
        for text in sentences(told):
            attribute = text.partition(": ")[0]
            for side, listed in re.findall(r"(Higher|Lower) than \w+: ([^.]*)\.", text):
                said += [(side.lower(), attribute, name) for name in re.split(", | and ", listed)]
        heard = told.picture.alt.split(". ") if told.picture and len(rows) else []
        alt = [
            (side, attribute, part.partition(": ")[0])
            for part in heard
            for side, listed in re.findall(r"(higher|lower) on ([^;]*)", part)
            for attribute in dict.fromkeys(attribute for attribute, _ in by)
            if re.search(rf"(^|, | and ){re.escape(attribute)}($|\.|, | and )", listed)
        ]
        for side, attribute, name in said + alt:
            row = by[attribute, name]
            assert (row["estimate"] > 0) == (side == "higher"), (attribute, name)
            assert row["verdict"] == "differs", (attribute, name)
        told_apart = {key for key, row in by.items() if row["verdict"] == "differs"}
        assert {(attribute, name) for _, attribute, name in alt} == told_apart
        lists = [name for _, attribute, name in said]
        sizes = [abs(by[attribute, name]["estimate"]) for _, attribute, name in said]
        for place in range(1, len(lists)):  # the widest first within each list
            assert said[place][:2] != said[place - 1][:2] or sizes[place] <= sizes[place - 1], said[place]


def test_a_difference_named_by_its_two_prototypes_is_theirs(everything):
    for told in everything:
        rows = [row for frame in frames(told.result) for row in frame.to_dict("records") if "versus" in row]
        for text in sentences(told):
            for one, other, size in re.findall(rf"(\w+) minus (\w+)(?: on [\w ]+,)? is {_N}", text):
                value, room = _number(size)
                own = [row for row in rows if (row.get("prototype"), row["versus"]) == (one, other)]
                own = [row for row in own if words_in(row, told.names) & set(re.split(r": | on |, is", text))]
                assert any((np.abs(numbers_in(row) - value) <= room).any() for row in own), text


def test_more_and_less_agree_with_the_sign_in_the_brackets(everything):
    for told in everything:
        for text in sentences(told):
            _, *parts = re.split(r"\b(more|less)\b", text)
            for side, listed in zip(parts[::2], parts[1::2], strict=True):
                signs = set(re.findall(r"\(([+−])\d", listed.partition("; cannot tell")[0]))
                assert signs <= {"+" if side == "more" else "−"}, text


def test_one_is_one_and_many_are_many(everything):
    for told in everything:
        for text in sentences(told):
            for count, noun in re.findall(r"(?<![\d.,/–-])(\d[\d,]*) (\w+)", text):
                assert noun not in _ONES or count == "1", text
                assert noun not in _PLURALS or count != "1" or re.search(rf"of 1 {noun}", text), text


def test_every_sentence_is_whole(everything):
    for told in everything:
        for text in sentences(told):
            assert not re.search(
                r"\bnan\b|\bNone\b(?! of \d)|[{}]|(?<!\.)\.\.(?!\.)|,,| ,| ;|: \.|;\.|\(\)|\band \.", text
            ), text
            assert text[-1] in ".?!:)”'", text
            assert text == text.strip(), text


# What a headline denies.

_DENIES = re.compile(r"(Nothing|No|Not one|None)\b.*?(?:[.;] |\.$)(?P<rest>.*)")
_FOUND = {"differs", "shown", "move", "beyond the margin", "alike within the margin", "similar", "differs and matters"}


def test_no_headline_denies_what_a_verdict_of_its_answer_says(everything):
    denied = 0
    for told in everything:
        if (found := _DENIES.match(told.headline)) is None:
            continue
        verdicts = {each for frame in frames(told.result) if "verdict" in frame for each in frame["verdict"].dropna()}
        assert not verdicts & _FOUND or re.search(r"\b(is|are) shown\b", found["rest"]), (told.headline, verdicts)
        denied += 1
    assert denied


def test_the_same_count_has_the_same_share_and_interval_under_statements_and_under_claims():
    told = everything_told(demo_answers())
    agreed, claimed = (" ".join(sentences(told[name])) for name in ("agreement", "claims"))
    statements = dict(re.findall(r"(\d+ of \d+ \([\d.]+ %\)) agreed \(95 % interval ([\d.]+ to [\d.]+ %)\)", agreed))
    claims = re.findall(r"(\d+ of \d+ \([\d.]+ %\)) agreed or agreed strongly \(95 % interval (.*?) by Wilson", claimed)
    assert claims
    for count, ends in claims:
        assert statements[count] == ends, count


def test_an_attribute_that_has_words_is_told_by_them(everything):
    for told in everything:
        codes = [name for name, words in told.names.attributes.items() if words != name and name.isupper()]
        named = re.compile(rf"\b({'|'.join(map(re.escape, codes))})\b" if codes else r"(?!)")
        for text in sentences(told):
            assert not (found := named.search(text)), (found[0], text)
