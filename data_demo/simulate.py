"""Draws the scores, answers and readings of the demo study from its true effects."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd

from data_demo import scenario as story

PROTOTYPES = tuple(story.SWAPS)
ATTRIBUTES = tuple(story.EFFECTS)
STICKINESS = ("PU_STICK", "AF_STICK")
SCALE_USE_SD, LEVEL_SD, ATTRIBUTE_LEVEL_SD, SESSION_SD = 0.18, 6.0, 4.0, 1.5
FIRST_ON_ARM, FIRST_POSITIONS = 2.5, (1, 5)
CARRY_OVER, CARRIED = 0.06, ("AF_GREASE", "LA_RESID")
STAGE_SECONDS = {"APP": 0, "PU_": 60, "RO_": 180, "AF_": 300, "LA_": 1380}
PERCEPTION_SD, RATING_SD, LIKING_LEVEL_SD = 8.0, 0.9, 0.7
NOT_RETURNING, NOT_FINISHING = 3, 2


def true_profiles() -> pd.DataFrame:
    """Return the true intensity: index prototype, columns attribute."""
    rows = {}
    for prototype, made in story.SWAPS.items():
        swaps = dict(zip("ABC", made, strict=True))
        rows[prototype] = [
            base + np.dot((a, b, c), made) + (extra if pair and all(swaps[swap] for swap in pair) else 0)
            for base, a, b, c, pair, extra, _, _ in story.EFFECTS.values()
        ]
    return pd.DataFrame.from_dict(rows, orient="index", columns=ATTRIBUTES).astype(float)


def williams_rows(count: int) -> np.ndarray:
    """Return orders in which each of an even number of samples follows every other once (Williams 1949)."""
    first = [0, *itertools.chain.from_iterable((k, count - k) for k in range(1, count // 2 + 1))][:count]
    return (np.array(first) + np.arange(count)[:, None]) % count


def blind_codes(rng: np.random.Generator, count: int, taken: set[str]) -> list[str]:
    """Draw three-digit codes that differ from each other and from `taken` in at least two digits."""
    codes: list[str] = []
    while len(codes) < count:
        code = str(rng.integers(100, 1000))
        others = [*taken, *codes]
        alike = any(sum(a != b for a, b in zip(code, other, strict=True)) < 2 for other in others)
        if not alike and len(set(code)) > 1 and code not in ("123", "666"):
            codes.append(code)
    taken.update(codes)
    return codes


# --- servings


def trained_servings(rng: np.random.Generator, taken: set[str]) -> pd.DataFrame:
    """Serve eight samples to each assessor in each session, in Williams rows, on two arms."""
    rows = []
    for session in story.SESSION_STARTS:
        codes = dict(zip(PROTOTYPES, blind_codes(rng, len(PROTOTYPES), taken), strict=True))
        labels = rng.permutation(PROTOTYPES)
        orders = rng.permutation(williams_rows(len(PROTOTYPES)))
        for number, assessor in enumerate(story.ASSESSORS):
            if (assessor, session) == story.ABSENT:
                continue
            for position, place in enumerate(orders[number % len(orders)], start=1):
                prototype = str(labels[place])
                burnt = (assessor, session) == story.SUNBURNT
                site = f"left forearm {position}" if burnt or position <= 4 else f"right forearm {position - 4}"
                rows.append((session, assessor, position, prototype, codes[prototype], site))
    return _servings(rows)


def consumer_servings(rng: np.random.Generator, taken: set[str]) -> pd.DataFrame:
    """Serve four samples to each consumer in each of two sittings; a few people do not return for the second."""
    stay_away = set(rng.choice(story.CONSUMERS, NOT_RETURNING, replace=False))
    codes = [dict(zip(PROTOTYPES, blind_codes(rng, len(PROTOTYPES), taken), strict=True)) for _ in range(2)]
    orders = np.vstack([rng.permutation(williams_rows(len(PROTOTYPES))) for _ in range(8)])
    rows = []
    for sitting, (number, consumer) in itertools.product((1, 2), enumerate(story.CONSUMERS)):
        if sitting == 2 and consumer in stay_away:
            continue
        for position, place in enumerate(orders[number][4 * sitting - 4 : 4 * sitting], start=1):
            prototype = PROTOTYPES[place]
            site = f"{'left' if position % 2 else 'right'} hand"
            rows.append((f"hall {sitting}", consumer, position, prototype, codes[sitting - 1][prototype], site))
    return _servings(rows)


def home_servings(rng: np.random.Generator, taken: set[str]) -> pd.DataFrame:
    """Give one jar of P4 to each consumer."""
    (code,) = blind_codes(rng, 1, taken)
    return _servings([("home", consumer, 1, "P4", code, "hands") for consumer in story.CONSUMERS])


def _servings(rows: list[tuple[str, str, int, str, str, str]]) -> pd.DataFrame:
    columns = ["session", "assessor", "position", "prototype", "code", "site"]
    return pd.DataFrame(rows, columns=columns).astype({"position": "float64"})


# --- scores


def scale_use(rng: np.random.Generator) -> pd.DataFrame:
    """Return each assessor's factor on true differences, quirks included (index assessor, columns attribute)."""
    own = np.exp(rng.normal(0.0, SCALE_USE_SD, len(story.ASSESSORS)))
    factors = pd.DataFrame(np.outer(own, np.ones(len(ATTRIBUTES))), index=story.ASSESSORS, columns=ATTRIBUTES)
    factors.loc["A03"] = 0.40
    factors.loc["A07", "RO_ABS"] = -0.8
    factors.loc["A08", list(STICKINESS)] = 0.05
    return factors


def draw_scores(rng: np.random.Generator, servings: pd.DataFrame) -> pd.DataFrame:
    """Return one score per serving and attribute, before entry faults (wide: rows as `servings`)."""
    truth, people, sessions = true_profiles(), story.ASSESSORS, tuple(story.SESSION_STARTS)
    grand = truth.mean()
    sd_interaction, sd_residual = (np.array([row[i] for row in story.EFFECTS.values()]) for i in (6, 7))
    factors = scale_use(rng)
    level = pd.Series(rng.normal(0.0, LEVEL_SD, len(people)), index=people)
    level["A05"] = 14.0
    own_level = level.to_numpy()[:, None] + rng.normal(0.0, ATTRIBUTE_LEVEL_SD, factors.shape)
    # Who sees less of the true differences also has fewer peculiar ones.
    damped = np.minimum(1.0, factors.abs()).where(factors.abs() < 0.5, 1.0).to_numpy()
    interaction = rng.normal(0.0, 1.0, (len(people), len(PROTOTYPES), len(ATTRIBUTES))) * sd_interaction
    interaction *= damped[:, None, :]
    session_level = rng.normal(0.0, SESSION_SD, (len(sessions), len(ATTRIBUTES)))
    noise = pd.Series(1.0, index=people)
    noise["A03"], noise["A06"] = 0.5, 2.2

    who = pd.Index(people).get_indexer(servings["assessor"])
    what = pd.Index(PROTOTYPES).get_indexer(servings["prototype"])
    when = pd.Index(sessions).get_indexer(servings["session"])
    deviation = (truth - grand).to_numpy()[what]
    scores = grand.to_numpy() + factors.to_numpy()[who] * deviation + own_level[who] + interaction[who, what]
    scores += session_level[when] + noise.to_numpy()[who][:, None] * rng.normal(0.0, 1.0, deviation.shape) * sd_residual
    scores += _serving_order_effects(servings, deviation)
    return pd.DataFrame(np.clip(scores, 0.0, 100.0).round(1), index=servings.index, columns=ATTRIBUTES)


def _serving_order_effects(servings: pd.DataFrame, deviation: np.ndarray) -> np.ndarray:
    """Return what order does: the first sample on an arm is felt more afterwards, some of it stays for the next."""
    position = servings["position"].to_numpy()
    after_feel = np.array([attribute.startswith("AF_") for attribute in ATTRIBUTES])
    carried = np.isin(ATTRIBUTES, CARRIED)
    before = np.vstack([np.zeros(len(ATTRIBUTES)), deviation[:-1]])
    first = FIRST_ON_ARM * np.isin(position, FIRST_POSITIONS)[:, None] * after_feel
    return first + CARRY_OVER * before * carried * (position > 1)[:, None]


def score_table(servings: pd.DataFrame, scores: pd.DataFrame, batch: dict[str, str]) -> pd.DataFrame:
    """Return the table scores, long, with the two entry faults."""
    long = servings.join(scores).melt(
        id_vars=servings.columns.tolist(), var_name="attribute", value_name="score", ignore_index=False
    )
    long = long.assign(order=long["attribute"].map(ATTRIBUTES.index)).reset_index(names="serving")
    long = long.sort_values(["serving", "order"], ignore_index=True)
    starts = pd.to_datetime(long["session"].map(story.SESSION_STARTS))
    seconds = (long["position"] - 1) * 720 + long["attribute"].str[:3].map(STAGE_SECONDS) + 10 * long["order"]
    long["recorded_at"] = (starts + pd.to_timedelta(seconds, unit="s")).dt.strftime("%Y-%m-%dT%H:%M:%S")
    long["batch"] = long["prototype"].map(batch)
    long["source"] = "typed"

    def cell(assessor: str, session: str, prototype: str, attribute: str) -> pd.Series:
        wanted = {"assessor": assessor, "session": session, "prototype": prototype, "attribute": attribute}
        return (long[list(wanted)] == pd.Series(wanted)).all(axis=1)

    long.loc[cell("A02", "2", "P4", "AF_GREASE"), "score"] = 330.0  # typed without its decimal point
    long.loc[cell("A09", "1", "P7", "RO_WET"), "score"] = np.nan  # left blank
    columns = ["assessor", "prototype", "attribute", "score", "session", "position", "batch", "recorded_at", "source"]
    return long[columns]


# --- consumers


def consumer_segments(rng: np.random.Generator) -> dict[str, str]:
    """Return the hidden kind of each consumer."""
    kinds = [kind for kind, (count, _) in story.SEGMENTS.items() for _ in range(count)]
    return dict(zip(story.CONSUMERS, map(str, rng.permutation(kinds)), strict=True))


def hall_answers(rng: np.random.Generator, servings: pd.DataFrame, segments: dict[str, str]) -> pd.DataFrame:
    """Return liking, just-about-right and check-all answers for every sample a consumer tried."""
    truth = true_profiles()
    kinds = servings["assessor"].map(segments)
    felt = truth.loc[servings["prototype"]].reset_index(drop=True)
    felt = felt + rng.normal(0.0, PERCEPTION_SD, felt.shape)
    level = pd.Series(rng.normal(0.0, LIKING_LEVEL_SD, len(story.CONSUMERS)), index=story.CONSUMERS)
    lost = sum(
        (weight * (felt[attribute] - ideal).abs()).where((kinds == kind).to_numpy(), 0.0)
        for kind, (_, ideals) in story.SEGMENTS.items()
        for attribute, (ideal, weight) in ideals.items()
    )
    liking = 8.0 + level.loc[servings["assessor"]].to_numpy() - lost + rng.normal(0.0, RATING_SD, len(felt))
    answers = {("overall liking", "liking"): _category(liking, 9)}
    for question, (attributes, ideals) in story.JUST_ABOUT_RIGHT.items():
        ideal = kinds.map(dict(zip(story.SEGMENTS, ideals, strict=True))).to_numpy()
        off = (felt[list(attributes)].mean(axis=1) - ideal) / 16.0 + rng.normal(0.0, 0.4, len(felt))
        answers[question, "just_about_right"] = _category(3.0 + off, 5)
    for word, (attribute, sign, half) in story.CHECK_ALL.items():
        share = 1.0 / (1.0 + np.exp(-sign * (felt[attribute] - half) / 6.0))
        answers[word, "check_all"] = (rng.random(len(felt)) < share).astype(int).astype(str).to_numpy()
    return _answer_table(servings, answers)


def home_answers(rng: np.random.Generator, servings: pd.DataFrame) -> pd.DataFrame:
    """Return the agreement answers after a week of use; a few people do not finish."""
    lost = set(rng.choice(story.CONSUMERS, NOT_FINISHING, replace=False))
    finished = servings.loc[~servings["assessor"].isin(lost)].reset_index(drop=True)
    leaning = rng.normal(0.0, 0.4, len(finished))
    answers = {}
    for question, (_, agree, unsure) in story.HOME_USE.items():
        opinion = np.log(agree / (1.0 - agree)) + leaning + rng.logistic(0.0, 1.0, len(finished))
        marks = 1 + np.searchsorted([-2.5, -1.2, 0.0, 1.5], opinion)
        unknown = rng.random(len(finished)) < unsure
        answers[question, "agreement"] = np.where(unknown, "don't know", marks.astype(str))
    return _answer_table(finished, answers)


def _category(values: pd.Series, highest: int) -> np.ndarray:
    return np.clip(np.rint(values), 1, highest).astype(int).astype(str).to_numpy()


def _answer_table(servings: pd.DataFrame, answers: dict[tuple[str, str], np.ndarray]) -> pd.DataFrame:
    parts = [
        servings[["assessor", "prototype", "session", "position"]].assign(
            question=question, kind=kind, answer=answer, serving=range(len(servings)), order=order
        )
        for order, ((question, kind), answer) in enumerate(answers.items())
    ]
    table = pd.concat(parts).sort_values(["serving", "order"], ignore_index=True)
    return table[["assessor", "prototype", "question", "kind", "answer", "session", "position"]]


# --- forced choices


def triangle_answers(rng: np.random.Generator) -> pd.DataFrame:
    """Return one triangle test per person: some can tell, the others are right one time in three."""
    test = story.TRIANGLE
    people = story.CONSUMERS[: test["people"]]
    right = (rng.random(len(people)) < test["tell"]) | (rng.random(len(people)) < 1 / 3)
    return _choice_table(test, people, right.astype(int).astype(str), np.full(len(people), np.nan))


def preference_answers(rng: np.random.Generator) -> pd.DataFrame:
    """Return one paired preference per consumer, half of them with the first of the pair tried first."""
    test = story.PREFERENCE
    people, (first, second) = story.CONSUMERS, test["pair"]
    undecided = rng.random(len(people)) < test["no_preference"]
    chosen = np.where(rng.random(len(people)) < test["prefer_first"], first, second)
    place = rng.permutation(np.resize([1.0, 2.0], len(people)))
    return _choice_table(test, people, np.where(undecided, "no preference", chosen), place)


def _choice_table(
    test: dict[str, object], people: tuple[str, ...], answer: np.ndarray, place: np.ndarray
) -> pd.DataFrame:
    prototype, versus = test["pair"]
    kind = "triangle" if test is story.TRIANGLE else "preference"
    columns = {"assessor": people, "prototype": prototype, "question": test["question"], "kind": kind}
    rest = {"answer": answer, "session": test["session"], "position": place, "versus": versus}
    return pd.DataFrame(columns | rest)


# --- readings


def readings(rng: np.random.Generator, batch: dict[str, str]) -> pd.DataFrame:
    """Return three readings of every measure on every batch: swaps multiply, batches and readings scatter."""
    rows = []
    for measure, (unit, base, *factors, spread, decimals, temperature) in story.MEASURES.items():
        for prototype, made in story.SWAPS.items():
            centre = base * np.prod(np.power(factors, made)) * np.exp(rng.normal(0.0, 0.6 * spread))
            values = np.round(centre * np.exp(rng.normal(0.0, spread, 3)), decimals)
            for repeat, value in enumerate(values, start=1):
                rows.append((prototype, measure, unit, value, batch[prototype], str(repeat), float(temperature), ""))
    for prototype, (_, ph) in story.BATCHES.items():
        for repeat, value in enumerate(np.round(ph + rng.normal(0.0, story.PH_SD, 3), 2), start=1):
            rows.append((prototype, "pH", "1", value, batch[prototype], str(repeat), 25.0, ""))
    columns = ["prototype", "measure", "unit", "value", "batch", "repeat", "temperature_c", "note"]
    return pd.DataFrame(rows, columns=columns)


# --- curves, and what runs over time


def _times_factors(row: tuple[float, float, float, float], made: tuple[int, int, int]) -> float:
    base, *factors = row
    return float(base * np.prod(np.power(factors, made)))


def measured_truth() -> pd.DataFrame:
    """Return what is true of the curves and over time, as `prototype quantity value`."""
    truth = true_profiles()[story.FOLLOWED]
    rows = []
    for prototype, made in story.SWAPS.items():
        rows += [(prototype, quantity, _times_factors(row, made)) for quantity, row in story.FLOW.items()]
        for quantity, measure in (("largest force", "firmness"), ("pull", "cohesiveness")):
            rows.append((prototype, quantity, _times_factors(story.MEASURES[measure][1:5], made)))
    for prototype, half in story.COURSES.items():
        rows += [(prototype, "height of the course", truth[prototype]), (prototype, "half of the course after", half)]
    return pd.DataFrame(rows, columns=["prototype", "quantity", "value"])


def curves(rng: np.random.Generator) -> pd.DataFrame:
    """Return two flow curves and two force curves of each batch: true curve, scatter of the curve and of its points."""
    truth = measured_truth().pivot_table(index="quantity", columns="prototype", values="value")
    rates, seconds = np.array(story.FLOW_RATES), np.linspace(0.0, 2 * story.STROKE_SECONDS, 41)
    into, out = seconds <= story.STROKE_SECONDS, seconds > story.STROKE_SECONDS
    back = (seconds[out] - story.STROKE_SECONDS) / story.STROKE_SECONDS
    parts = []
    for prototype, repeat in itertools.product(PROTOTYPES, story.CURVE_REPEATS):
        of = truth[prototype]
        stress = of["yield stress"] + of["consistency"] * rates ** of["flow index"]
        stress *= np.exp(rng.normal(0, story.FLOW_BATCH_CV) + rng.normal(0, story.FLOW_POINT_CV, rates.size))
        force = np.empty(seconds.size)
        force[into] = of["largest force"] * np.sqrt(seconds[into] / story.STROKE_SECONDS)
        force[out] = -of["pull"] * np.interp(back, [0.0, 0.25, 1.0], [0.0, 1.0, 0.0])
        force = force * np.exp(rng.normal(0, story.FORCE_BATCH_CV)) + rng.normal(0, story.FORCE_POINT_SD, force.size)
        force[0] = 0.0
        for kind, x, x_unit, y, y_unit in (
            ("flow", rates, "1/s", stress.round(2), "Pa"),
            ("force", seconds, "s", force.round(2), "g"),
        ):
            points = {"prototype": prototype, "kind": kind, "x": x, "x_unit": x_unit, "y": y, "y_unit": y_unit}
            parts.append(pd.DataFrame(points | {"repeat": repeat}))
    return pd.concat(parts, ignore_index=True).astype({"x": "float64"})


def courses(rng: np.random.Generator) -> pd.DataFrame:
    """Return what each assessor moved the marker to: the film rises within 30 s and fades by halves."""
    seconds = np.array(story.FOLLOWED_SECONDS, dtype=float)
    height = true_profiles()[story.FOLLOWED]
    tall, slow = np.exp(rng.normal(0, 0.12, len(story.ASSESSORS))), np.exp(rng.normal(0, 0.15, len(story.ASSESSORS)))
    parts = []
    for (number, assessor), session in itertools.product(enumerate(story.ASSESSORS), story.TIME_SESSIONS):
        for prototype, half in story.COURSES.items():
            level = height[prototype] * tall[number] * np.exp(rng.normal(0, 0.08))
            gone = np.maximum(seconds - 30.0, 0.0) / (half * slow[number] * np.exp(rng.normal(0, 0.10)))
            score = level * (1 - np.exp(-seconds / 8.0)) * 0.5**gone + rng.normal(0, 2.0, seconds.size) * (seconds > 0)
            score = np.where(score < story.FELT_FROM, 0.0, score).round(1)
            columns = {"assessor": assessor, "prototype": prototype, "attribute": story.FOLLOWED, "seconds": seconds}
            parts.append(pd.DataFrame(columns | {"score": score, "session": session, "replicate": ""}))
    return pd.concat(parts, ignore_index=True)


def dominances(rng: np.random.Generator) -> pd.DataFrame:
    """Return what each assessor found dominant from when on; now and then something else catches the attention."""
    rows = []
    for assessor, session, (prototype, stages) in itertools.product(
        story.ASSESSORS, story.TIME_SESSIONS, story.DOMINANT.items()
    ):
        whole = story.RUBBING_SECONDS * np.exp(rng.normal(0, 0.15))
        start, before = 2.0 + rng.exponential(2.0), ""
        for name, end in stages:
            seen = str(rng.choice(story.DOMINANCE_ATTRIBUTES)) if rng.random() < story.DISTRACTED else name
            if seen != before:
                rows.append((assessor, prototype, round(start, 1), seen, session, ""))
            start, before = max(start + 1.0, whole * (end + rng.normal(0, 0.05))), seen
        rows.append((assessor, prototype, round(start, 1), "stop", session, ""))
    columns = ["assessor", "prototype", "seconds", "attribute", "session", "replicate"]
    return pd.DataFrame(rows, columns=columns)
