"""The invented story of the demo study as tables: formulas, true effects, people, dates, questions.

Everything here is invented. Materials are named by INCI only; there are no real people, firms or products.
"""

from __future__ import annotations

SEED = 20250311

# Swap A changes the fast emollient, B the medium one, C the slow one, each at equal mass.
SWAPS = {
    "P1": (0, 0, 0),
    "P2": (1, 0, 0),
    "P3": (0, 1, 0),
    "P4": (1, 1, 0),
    "P5": (0, 0, 1),
    "P6": (1, 0, 1),
    "P7": (0, 1, 1),
    "P8": (1, 1, 1),
}
SLOTS = (  # per cent by mass, before the swap, after the swap
    (6.00, "Dicaprylyl Carbonate", "C13-15 Alkane"),
    (5.00, "Caprylic/Capric Triglyceride", "Isopropyl Isostearate"),
    (4.00, "Prunus Amygdalus Dulcis (Sweet Almond) Oil", "Butyrospermum Parkii (Shea) Butter"),
)
BASE = (  # ingredient, per cent by mass, phase, kind
    ("Aqua", 71.85, "A", "other"),
    ("Glycerin", 6.00, "A", "humectant"),
    ("Xanthan Gum", 0.30, "A", "structurant"),
    ("Disodium EDTA", 0.10, "A", "other"),
    ("Glyceryl Stearate Citrate", 3.00, "B", "emulsifier"),
    ("Cetearyl Alcohol", 2.50, "B", "structurant"),
    ("Tocopherol", 0.20, "B", "other"),
    ("Phenoxyethanol", 0.90, "C", "other"),
    ("Ethylhexylglycerin", 0.10, "C", "other"),
    ("Citric Acid", 0.05, "C", "other"),
)

# Two making days, the same as swap C; P6 had to be made again the evening before the first session.
BATCHES = {  # made on, pH
    "P1": ("2025-03-11T10:00:00", 5.44),
    "P2": ("2025-03-11T11:00:00", 5.41),
    "P3": ("2025-03-11T12:00:00", 5.46),
    "P4": ("2025-03-11T13:00:00", 5.43),
    "P5": ("2025-03-12T08:00:00", 5.48),
    "P6": ("2025-03-13T18:00:00", 5.39),
    "P7": ("2025-03-12T09:00:00", 5.45),
    "P8": ("2025-03-12T10:00:00", 5.42),
}
SESSION_STARTS = {"1": "2025-03-14T14:00:00", "2": "2025-03-17T14:00:00", "3": "2025-03-18T14:00:00"}

# True level of P1, true change by each swap, (pair of swaps, extra change when both are made), and the standard
# deviations of prototype by assessor and of what is left, all on 0 to 100.
EFFECTS = {
    "APP_GLOSS": (58, -2, 0, -10, None, 0, 4.0, 6.5),
    "APP_SHAPE": (46, -4, -3, 18, None, 0, 4.0, 6.0),
    "PU_FIRM": (44, -5, -3, 16, None, 0, 3.5, 6.0),
    "PU_STICK": (30, -3, -6, 4, None, 0, 4.5, 8.0),
    "RO_WET": (55, 8, 2, -6, None, 0, 4.5, 7.5),
    "RO_SPREAD": (58, 7, 6, -12, "AC", 6, 4.0, 7.0),
    "RO_THICK": (45, -6, -4, 14, None, 0, 4.0, 6.5),
    "RO_WHITE": (28, -3, -5, 2, None, 0, 4.0, 7.5),
    "RO_ABS": (44, 14, 5, -8, None, 0, 5.5, 9.0),
    "AF_STICK": (34, -4, -9, 6, "BC", -4, 4.5, 7.5),
    "AF_SLIP": (47, -6, 9, -4, None, 0, 5.0, 8.0),
    "AF_GREASE": (52, -15, -8, 7, "AB", 5, 4.5, 7.5),
    "LA_RESID": (40, -9, -3, 12, None, 0, 5.0, 8.5),
    "LA_SOFT": (54, -7, 4, 9, None, 0, 5.0, 8.5),
}
TARGETS = {  # lowest, highest wanted
    "AF_GREASE": (None, 38),
    "AF_STICK": (None, 25),
    "RO_ABS": (55, None),
    "RO_SPREAD": (60, None),
    "LA_RESID": (None, 42),
    "LA_SOFT": (54, None),
}

WEIGHTS = {"AF_GREASE": 2, "RO_ABS": 2, "AF_STICK": 1, "RO_SPREAD": 1, "LA_RESID": 1, "LA_SOFT": 1}
MUST_HAVE = ("AF_GREASE",)
BENCHMARK_LEVELS = {  # where the panel put P1 in the training session in which the targets were set
    "AF_GREASE": 51,
    "AF_STICK": 35,
    "RO_ABS": 46,
    "RO_SPREAD": 59,
    "LA_RESID": 42,
    "LA_SOFT": 53,
}
GATES = {
    "ph": [5.0, 6.0],
    "viscosity_mpa_s": [15000, 40000],
    "volatile_share": [None, 0.45],
    "solid_share": [None, 0.30],
    "free_of": ["lanolin", "fragrance"],
    "stability": True,
}
STABILITY = {  # P6 was made again, so its storage test began again
    prototype: {
        "outcome": "running" if prototype == "P6" else "passed",
        "who": "stability laboratory",
        "date": "2025-06-16",
        "document": f"ST-2025-{prototype[1]}, 12 weeks at 5, 25 and 40 °C",
    }
    for prototype in SWAPS
}

SIGN_OFFS = (  # item, who, role, day, document; for the whole study, by code
    ("safety_assessment", "S1", "qualified safety assessor", "2025-03-10", "RR-SA-1"),
    ("restricted_lists", "S1", "qualified safety assessor", "2025-03-10", "RR-SA-1"),
    ("preservation", "S1", "qualified safety assessor", "2025-03-10", "RR-SA-1"),
    ("skin_tolerance", "S1", "qualified safety assessor", "2025-03-10", "RR-SA-1"),
    ("allergen_list", "L1", "panel leader", "2025-03-12", "RR-PL-1"),
    ("informed_consent", "L1", "panel leader", "2025-03-12", "RR-PL-1"),
    ("exclusion", "L1", "panel leader", "2025-03-12", "RR-PL-1"),
    ("reaction_plan", "L1", "panel leader", "2025-03-12", "RR-PL-1"),
    ("data_protection", "D1", "person responsible for data protection", "2025-03-12", "RR-DP-1"),
)
BATCH_SIGN_OFFS = (  # the same for every batch
    ("batch_identity", "F1", "maker of the batch, countersigned", "2025-03-13", "batch sheet"),
    ("microbial_count", "S1", "qualified safety assessor", "2025-03-13", "RR-MB-1"),
)
NOT_NEEDED = ("ethics_review", "S1", "qualified safety assessor", "2025-03-10", "adults, healthy skin; local rule ER-2")

ASSESSORS = tuple(f"A{number:02d}" for number in range(1, 11))
CONSUMERS = tuple(f"C{number:03d}" for number in range(1, 61))
QUIRKS = {
    "A03": "uses a small part of the scale, with little noise",
    "A05": "sits high on every attribute",
    "A06": "noisy everywhere",
    "A07": "reads the speed of soaking in backwards",
    "A08": "does not feel stickiness",
    "A10": "did not come to session 3",
}

ABSENT = ("A10", "3")
SUNBURNT = ("A04", "2")

# Consumers come in three hidden kinds: what each would like best, and how much a point away from it costs.
SEGMENTS = {  # kind: (how many, {attribute: (ideal, liking points lost per scale point)})
    "dry touch": (
        33,
        {
            "AF_GREASE": (26, 0.042),
            "AF_STICK": (18, 0.030),
            "RO_ABS": (68, 0.030),
            "LA_RESID": (24, 0.030),
            "LA_SOFT": (54, 0.010),
        },
    ),
    "comfort": (
        16,
        {
            "LA_SOFT": (76, 0.075),
            "RO_THICK": (58, 0.045),
            "LA_RESID": (46, 0.035),
            "AF_GREASE": (46, 0.020),
            "AF_STICK": (18, 0.020),
        },
    ),
    "easy-going": (11, {"RO_SPREAD": (68, 0.022), "AF_STICK": (18, 0.022), "LA_SOFT": (64, 0.024)}),
}
JUST_ABOUT_RIGHT = {  # question: (attributes it follows, ideal of dry touch, comfort, easy-going)
    "thickness": (("RO_THICK",), (40, 54, 46)),
    "glide": (("RO_SPREAD",), (66, 64, 66)),
    "soaking-in speed": (("RO_ABS",), (60, 50, 54)),
    "richness of the after-feel": (("LA_RESID", "LA_SOFT"), (42, 58, 48)),
}
CHECK_ALL = {  # word: (attribute, +1 or -1, score at which half of the people tick it)
    "light": ("RO_THICK", -1, 40),
    "rich": ("LA_RESID", 1, 48),
    "watery": ("RO_WET", 1, 68),
    "easy to spread": ("RO_SPREAD", 1, 57),
    "drags": ("RO_SPREAD", -1, 42),
    "soaks in fast": ("RO_ABS", 1, 54),
    "leaves a film": ("LA_RESID", 1, 46),
    "greasy": ("AF_GREASE", 1, 52),
    "sticky": ("AF_STICK", 1, 40),
    "silky": ("AF_SLIP", 1, 56),
    "dry touch": ("AF_GREASE", -1, 37),
    "shiny": ("APP_GLOSS", 1, 66),
    "soft skin": ("LA_SOFT", 1, 56),
    "comfortable": ("LA_SOFT", 1, 60),
    "heavy": ("RO_THICK", 1, 58),
    "white marks": ("RO_WHITE", 1, 42),
}
HOME_USE = {  # question: (sentence, true share who agree among those with an opinion, share who do not know)
    "sinks in": ("The cream sinks in quickly.", 0.88, 0.02),
    "hands not greasy": ("The cream does not leave my hands feeling greasy.", 0.84, 0.02),
    "no mark on paper": ("The cream left no mark on the paper I handled.", 0.82, 0.03),
    "not sticky": ("My hands do not feel sticky after use.", 0.90, 0.02),
    "soft at 20 minutes": ("My hands still feel soft after 20 minutes.", 0.72, 0.03),
    "comforting": ("The cream feels comforting.", 0.50, 0.05),
    "would use daily": ("I would use the cream every day.", 0.70, 0.03),
    "scented": ("The cream has a clear flowery scent.", 0.12, 0.03),
}
HOME_USE_FOIL = "scented"

# Two tests with a forced choice, drawn from a seed of their own so that nothing else moves.
CHOICE_SEED = 20250402
TRIANGLE = {
    "question": "P4 against P8",
    "pair": ("P4", "P8"),
    "session": "triangle",
    "people": 36,  # consumers C001 to C036
    "tell": 0.45,  # true share of people who can tell the two apart; the others guess
}
PREFERENCE = {
    "question": "preference",
    "pair": ("P4", "P1"),
    "session": "preference",
    "no_preference": 0.10,  # share without a preference whatever they feel
    "prefer_first": 0.66,  # of the others, who prefer the first of the pair
}
CHOICE_QUESTIONS = (
    {
        "question": "P4 against P8",
        "kind": "triangle",
        "words": "Two of the three samples are the same. Which one is different?",
        "similar_below": 0.3,
        "recorded_on": "2025-03-10",
        "by": "panel leader",
    },
    {
        "question": "preference",
        "kind": "preference",
        "words": "Which of the two creams do you prefer? You may also say that you have no preference.",
        "margin": 0.1,
        "recorded_on": "2025-03-10",
        "by": "panel leader",
    },
)

MEASURES = {  # unit, P1, factor of swap A, B, C, coefficient of variation, decimals, °C
    "viscosity": ("mPa s", 24000, 0.86, 0.94, 1.50, 0.04, 0, 25),
    "firmness": ("g", 62, 0.88, 0.95, 1.45, 0.05, 1, 25),
    "consistency": ("g s", 540, 0.88, 0.95, 1.42, 0.05, 0, 25),
    "cohesiveness": ("g", 38, 0.90, 0.94, 1.25, 0.06, 1, 25),
    "work of shear": ("g s", 410, 0.87, 0.92, 1.38, 0.05, 0, 25),
    "cone penetration": ("0.1 mm", 318, 1.04, 1.02, 0.86, 0.03, 0, 25),
    "film tack": ("g", 21, 0.88, 0.78, 1.12, 0.12, 1, 32),
    "gloss": ("GU", 18.5, 0.78, 0.90, 0.96, 0.06, 1, 25),
    "friction at 5 min": ("1", 0.31, 1.22, 0.93, 1.05, 0.12, 3, 32),
    "paper blot": ("mg", 3.4, 0.55, 0.80, 1.15, 0.15, 2, 32),
}
PH_SD = 0.01

# Curves of the same batches. The force runs as the square root of time up to its height, so that the work of shear is
# two thirds of height times stroke: 62 g over 10 s is 413 g s, what the reading of P1 says. The pull is a triangle.
CURVE_SEED = 20250313
CURVE_REPEATS = ("1", "2")
FLOW = {  # P1, factor of swap A, B, C: a flow curve of the kind of Herschel and Bulkley
    "yield stress": (36.0, 0.86, 0.94, 1.50),  # Pa
    "consistency": (16.0, 0.88, 0.95, 1.40),  # Pa s^n
    "flow index": (0.42, 1.0, 1.0, 1.0),
}
FLOW_RATES = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)  # 1/s
FLOW_BATCH_CV, FLOW_POINT_CV = 0.03, 0.015
STROKE_SECONDS, PROBE_SPEED = 10.0, 2.0  # each way; mm/s
FORCE_BATCH_CV, FORCE_POINT_SD = 0.03, 0.3  # g

# Over time: one sensation followed for five minutes after rubbing in, and what is dominant while rubbing in.
TIME_SEED = 20250319
TIME_SESSIONS = ("time 1", "time 2")
FOLLOWED = "AF_GREASE"
FOLLOWED_SECONDS = (0, 10, 20, 30, 45, 60, 90, 120, 150, 180, 240, 300)
COURSES = {"P1": 150.0, "P4": 70.0, "P5": 240.0, "P8": 90.0}  # seconds in which the film fades to half
FELT_FROM = 2.0  # below this nothing is felt
DOMINANT = {  # what catches the attention one after the other, and the share of the time at which it ends
    "P1": (("RO_WET", 0.25), ("RO_SPREAD", 0.50), ("AF_GREASE", 1.0)),
    "P4": (("RO_WET", 0.30), ("RO_SPREAD", 0.55), ("AF_SLIP", 1.0)),
    "P5": (("RO_THICK", 0.40), ("AF_STICK", 0.60), ("AF_GREASE", 1.0)),
    "P8": (("RO_THICK", 0.25), ("RO_SPREAD", 0.55), ("AF_SLIP", 1.0)),
}
DOMINANCE_ATTRIBUTES = ["RO_WET", "RO_SPREAD", "RO_THICK", "AF_STICK", "AF_SLIP", "AF_GREASE"]
DISTRACTED = 0.25  # share of choices that are any of the list
RUBBING_SECONDS = 90.0
VISCOSITY_METHOD = "rotational, spindle 64, 12 rpm, 25 °C, read after 60 s"

CLAIMS = (  # sentence, kind, prototype, versus, attribute, minutes, margin, bar, question of the home use
    ("less greasy than our previous hand cream", "superiority", "P4", "P1", "AF_GREASE", 2, None, None, ""),
    ("does not leave hands feeling greasy", "agreement", "P4", "", "", None, None, 50, "hands not greasy"),
    ("sinks in quickly", "agreement", "P4", "", "", None, None, 50, "sinks in"),
    ("left no mark on the paper I handled", "agreement", "P4", "", "", None, None, 50, "no mark on paper"),
    ("comforting", "agreement", "P4", "", "", None, None, 50, "comforting"),
    ("8 in 10 users found no mark on their paper", "agreement", "P4", "", "", None, None, 80, "no mark on paper"),
    ("non-greasy", "absolute_negative", "P4", "", "AF_GREASE", 2, None, 50, "hands not greasy"),
    ("as soft as our previous hand cream", "parity", "P4", "P1", "LA_SOFT", 20, 8, None, ""),
    ("dry touch thanks to C13-15 Alkane", "ingredient_attribution", "P4", "P3", "AF_GREASE", 2, None, None, ""),
    ("moisturises for 24 hours", "beyond_sensory", "P4", "", "", None, None, None, ""),
)
CLAIM_PANEL_BARS = {"non-greasy": 20}  # beside the agreement of consumers
CLAIM_INGREDIENTS = {"dry touch thanks to C13-15 Alkane": "C13-15 Alkane"}
CLAIMS_FIXED = {
    "owner": "brand owner",
    "media": "pack and web page",
    "territory": "EU",
    "stamped_at": "2025-03-10T16:00:00",
    "stamped_by": "panel leader",
}

FACTS = {
    "title": "Reading Room hand cream",
    "purpose": (
        "An unfragranced hand cream for library, archive and book-repair staff, who wash their hands often and go "
        "back to paper: it should sink in fast, leave no sticky or greasy film and no mark on paper, and still "
        "feel soft after 20 minutes. Eight prototypes: every combination of three emollient swaps."
    ),
    "invented": True,
    "seed": SEED,
    "scale_min": 0,
    "scale_max": 100,
    "benchmark": "P1",
    "margin": 8,
    "planned_differences": [
        {"prototype": "P4", "versus": "P1", "attribute": "AF_GREASE"},
        {"prototype": "P4", "versus": "P1", "attribute": "LA_SOFT"},
    ],
    "benchmark_levels": BENCHMARK_LEVELS,
    "gates": GATES,
    "stability": STABILITY,
    "dose": "50 mg from a pre-weighed syringe",
    "area": "circle of 5 cm diameter on the inner forearm, four circles on each arm",
    "strokes": "forefinger and middle finger, circular, 120 strokes a minute, at most 120 strokes",
    "room": "21 °C, 50 % relative humidity, even light, 15 min rest before the first sample",
    "panel": "10 trained assessors, 3 sessions of 8 samples with a break between the arms; 60 consumers",
    "probe_speed_mm_s": PROBE_SPEED,
    "dominance_attributes": DOMINANCE_ATTRIBUTES,
    "dates": {
        "sessions": ["2025-03-14", "2025-03-17", "2025-03-18"],
        "over time": ["2025-03-19"],
        "hall test": ["2025-03-20", "2025-03-21"],
        "home use": ["2025-03-24", "2025-03-30"],
    },
    "users": {"who": "adults", "ages": "21 to 63", "sex": "women and men", "skin": "normal and dry", "staff": "no"},
    "rules": [
        {
            "rule": "set_aside_outside_scale",
            "recorded_on": "2025-03-10",
            "by": "panel leader",
            "words": "Scores outside 0 to 100 are set aside until the ballot is checked",
        }
    ],
    "unblinded_on": "2025-04-07",
    "notes": [
        "Everything in this study is invented; the scores were drawn by a program.",
        "One applicant for the panel reported a nut allergy and was refused: every prototype holds almond or shea.",
        "A04 came to session 2 with a sunburnt right forearm: all samples went on the left one, in eight circles.",
        "A10 did not come to session 3.",
        "Three consumers did not return for the second sitting; two did not finish the home use.",
        "P6 was made again on the evening before session 1 because its first batch was spilt.",
    ],
}

QUESTION_WORDS = {  # question: (kind, words, low end, high end)
    "overall liking": ("liking", "How much do you like the cream?", "dislike extremely", "like extremely"),
    "thickness": ("just_about_right", "The thickness is", "much too thin", "much too thick"),
    "glide": ("just_about_right", "While rubbing in, the glide is", "much too little", "much too much"),
    "soaking-in speed": ("just_about_right", "The cream sinks in", "much too slowly", "much too fast"),
    "richness of the after-feel": ("just_about_right", "What stays on the skin is", "much too poor", "much too rich"),
}
QUESTION_ATTRIBUTES = {  # just-about-right question: the scored attribute it was matched with before the hall test
    "thickness": "RO_THICK",
    "glide": "RO_SPREAD",
    "soaking-in speed": "RO_ABS",
    "richness of the after-feel": "LA_RESID",
}
