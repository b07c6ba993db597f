"""Does anything that comes in end in a traceback, a hang, or a value that was changed without a word?

Run: `python -m benchmarks.fuzz --hours 1` (stops after `--inputs`, 1,000,000 unless said; `--first` goes on where an
earlier run stopped, so that a million can be run in pieces). Three kinds of inputs:

- tables that are written here, in any encoding and with any sign between the cells: what was written is known;
- such tables with bytes changed: read again by a reader of its own below, which was told encoding and sign;
- studies, as zip or workbook, with bytes or facts changed: opened, some checked, and written again.

Every table is read cell by cell; of some the scores are read too, which takes twenty times as long.

A difference counts where the table kept its shape: then both readers must give the same cells. Whatever is wrong is
kept with its number; `--one NUMBER` runs that input alone.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import math
import random
import sys
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from panel.checks.all_checks import check_study
from panel.errors import PanelError
from panel.study.journal import FACTS
from panel.study.open_study import study_of_bytes, workbook_bytes, zip_bytes
from panel.study.raw_table import raw_file, raw_table
from panel.study.scores_import import guess_layout, read_scores
from panel.study.tables import TABLES
from tests.studies import small_study

HANGS_AFTER = 5.0  # seconds of a processor
SCORES_READ = 0.2  # of the tables: it takes longer than reading the cells
CHECKED = 0.1  # of the studies: checking takes longer than opening
WORKBOOKS = 0.15  # of the studies: they take longer than a zip
KEPT = 20  # of the inputs that went wrong, told in full
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252")
SIGNS = (",", ";", "\t", "|")
_LETTERS = "abcXYZ ÅäöüßéñÇ½°µ€–’"
_NAMES = ("P1", "P2", "Zugspitze", "crème légère", "A;B", "one, two", "a|b", 'the "best"', "L'Été", "x y")
_WRITTEN_TWO_WAYS = ("1.234", "12.345", "1,234")


@dataclass
class Outcome:
    """How many inputs of each kind there were, how they ended, and those that went wrong."""

    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest: float = 0.0

    @property
    def inputs(self) -> int:
        """How many inputs there were."""
        return self.counts["inputs"]


class SilentChange(Exception):
    """Raised for a value that is another one than in the file, and of which nothing was said."""


@dataclass(frozen=True)
class Written:
    """A table as it was written, and as what bytes."""

    rows: tuple[tuple[str, ...], ...]
    encoding: str
    sign: str
    decimal: str
    content: bytes


def run(seconds: float, inputs: int = 1_000_000, seed: int = 1, first: int = 0) -> Outcome:
    """Try inputs, from the number `first` on, until the time is over or there were enough."""
    outcome, until = Outcome(), time.monotonic() + seconds
    while outcome.inputs < inputs and time.monotonic() < until:
        try_one(seed, first + outcome.inputs, outcome)
    return outcome


def try_one(seed: int, number: int, outcome: Outcome) -> None:
    """Try the input with a number; how it ended is added to the outcome."""
    kind, ended, took = _tried(seed, number, time.perf_counter)
    if took > HANGS_AFTER:  # a busy machine is no hang, and nothing here waits
        kind, ended, took = _tried(seed, number, time.process_time)
    outcome.slowest = max(outcome.slowest, took)
    word = ended.partition(":")[0]
    for each in ("inputs", kind, word):
        outcome.counts[each] += 1
    if word.isupper() or took > HANGS_AFTER:
        outcome.counts["hangs"] += took > HANGS_AFTER
        if len(outcome.wrong) < KEPT:
            outcome.wrong.append(f"input {number} of seed {seed} ({took:.2f} s): {ended}")


def _tried(seed: int, number: int, clock: Callable[[], float]) -> tuple[str, str, float]:
    """Return the kind of an input, how it ended, and how long that took."""
    rng = random.Random(f"{seed} {number}")  # repeatable, not secret
    kind = rng.choices(KINDS, (3, 5, 2))[0]
    began = clock()
    try:
        ended = kind(rng)
    except PanelError as error:
        ended = "refused" if str(error).strip() else "WITHOUT A WORD"
    except SilentChange as error:
        ended = f"CHANGED: {error}"
    except Exception:
        ended = "TRACEBACK: " + traceback.format_exc(limit=-3)
    return kind.__name__.strip("_"), ended, clock() - began


# Tables that are written here.


def written_table(rng: random.Random) -> Written:
    """Return a long or wide table of scores, written as some program somewhere would write it."""
    sign, decimal = rng.choice(SIGNS), rng.choice(".,")
    people, prototypes = rng.randint(2, 5), rng.sample(_NAMES, rng.randint(2, 4))
    attributes = [f"ATT_{number}" for number in range(rng.randint(1, 4))]
    header = ("assessor", "prototype", *attributes)
    rows = [header]
    for person in range(people):
        for prototype in prototypes:
            rows.append((f"A{person:02d}", prototype, *(_score(rng, decimal) for _ in attributes)))
    encoding = rng.choice(ENCODINGS)
    text = io.StringIO(newline="")
    csv.writer(
        text,
        delimiter=sign,
        lineterminator=rng.choice(("\r\n", "\n", "\r")),
        quoting=rng.choice((csv.QUOTE_MINIMAL, csv.QUOTE_ALL)),
    ).writerows(rows)
    return Written(tuple(rows), encoding, sign, decimal, text.getvalue().encode(encoding))


def _score(rng: random.Random, decimal: str) -> str:
    if rng.random() < 0.06:
        return rng.choice(("", "n/a", "-", "ill", "?", *_WRITTEN_TWO_WAYS))
    return f"{rng.uniform(0, 100):.{rng.randint(0, 3)}f}".replace(".", decimal)


def _as_written(rng: random.Random) -> str:
    """Read a table that nothing happened to: every cell is the one that was written."""
    table = written_table(rng)
    found = raw_table(raw_file("scores.csv", table.content))
    _same_cells(table.rows, (found.header, *zip(*found.columns, strict=True)))
    return _scores(found, table) if rng.random() < SCORES_READ else "read"


def _scores(found: object, table: Written) -> str:
    """Read the scores: each is the number that a person reads there, or it is said that it could not be read."""
    layout = guess_layout(found)  # type: ignore[arg-type]  # a table as read
    imported = read_scores(found, layout)  # type: ignore[arg-type]  # the same
    said = {
        (str(line), str(column))
        for line, column in zip(imported.unread["line"], imported.unread["column"], strict=True)
    }
    attributes = [name for name in table.rows[0] if name.startswith("ATT_")]
    number = {
        (row["assessor"], row["prototype"], row["attribute"]): row["score"]
        for row in imported.scores.to_dict("records")
    }
    for line, row in enumerate(table.rows[1:], start=2):
        cells = dict(zip(table.rows[0], row, strict=True))
        for name in attributes:
            key = (cells["assessor"], cells["prototype"], name)
            if key not in number:
                continue  # a column of texts is no attribute, or another name was taken
            value, text = number[key], cells[name]
            wanted = _number(text, table.decimal)
            if math.isnan(value):
                if wanted is not None and (str(line), name) not in said and text not in _WRITTEN_TWO_WAYS:
                    raise SilentChange(f"{text!r} in line {line}, {name} was read as no number")
            elif wanted is None or not math.isclose(value, wanted, rel_tol=1e-12):
                if any(name in note and ("decimal" in note or "thousands" in note) for note in imported.notes):
                    continue  # it is said how the column was read
                raise SilentChange(f"{text!r} in line {line}, {name} was read as {value!r}")
    return "read"


def _number(text: str, decimal: str) -> float | None:
    try:
        return float(text.replace(decimal, "."))
    except ValueError:
        return None


# The same with bytes changed.


def _changed_bytes(rng: random.Random) -> str:
    """Read a table whose bytes were changed; where it kept its shape both readers give the same cells."""
    table = written_table(rng)
    content = mutated(table.content, rng)
    found = raw_table(raw_file("scores.csv", content))
    if rng.random() < SCORES_READ:
        read_scores(found, guess_layout(found))  # whatever they are; what cannot be read is refused in a sentence
    own = own_reader(content, table.encoding, table.sign)
    kept = own is not None and own[0] == table.rows[0] and len(own) == len(table.rows)
    if own is None or not kept or any(len(row) != len(own[0]) for row in own):
        return "read, shape lost"
    _same_cells(own, (found.header, *zip(*found.columns, strict=True)))
    return "read"


def own_reader(content: bytes, encoding: str, sign: str) -> tuple[tuple[str, ...], ...] | None:
    """Return the rows of a table whose encoding and sign are known; None if it is no such table any more.

    Written apart from the program's reader: a machine of two states, inside and outside of quotation marks (RFC 4180).
    """
    if encoding == "utf-8-sig" and not content.startswith(b"\xef\xbb\xbf"):
        return None
    if encoding == "utf-16" and content[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        return None
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        return None
    if encoding == "cp1252" and _is_utf8(content) and not content.isascii():
        return None  # nobody can tell which of the two it is
    if any(ord(letter) < 32 and letter not in "\t\r\n" for letter in text) or "\ufeff" in text:
        return None
    rows: list[tuple[str, ...]] = []
    cells, cell, quoted, place = [], "", False, 0
    while place < len(text):
        letter = text[place]
        if quoted:
            if letter == '"' and text[place + 1 : place + 2] == '"':
                cell += '"'
                place += 1
            elif letter == '"':
                quoted = False
                if text[place + 1 : place + 2] not in ("", sign, "\r", "\n"):
                    return None
            else:
                cell += letter
        elif letter == '"':
            if cell:
                return None
            quoted = True
        elif letter == sign:
            cells.append(cell)
            cell = ""
        elif letter in "\r\n":
            if letter == "\r" and text[place + 1 : place + 2] == "\n":
                place += 1
            rows.append((*cells, cell))
            cells, cell = [], ""
        else:
            cell += letter
        place += 1
    if quoted:
        return None
    if cells or cell:
        rows.append((*cells, cell))
    return tuple(row for row in rows if any(each.strip() for each in row))


def _is_utf8(content: bytes) -> bool:
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _same_cells(wanted: tuple[tuple[str, ...], ...], found: tuple[tuple[str, ...], ...]) -> None:
    if [tuple(row) for row in found] != [tuple(row) for row in wanted]:
        pairs = zip(wanted, found, strict=False)
        first = next(((a, b) for a, b in pairs if tuple(a) != tuple(b)), (len(wanted), len(found)))
        raise SilentChange(f"{first[0]!r} was read as {first[1]!r}")


def mutated(content: bytes, rng: random.Random) -> bytes:
    """Return bytes with one to eight changes: flipped, deleted, put in, doubled, exchanged, cut off."""
    changed = bytearray(content)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        if not changed:
            break
        place, what = rng.randrange(len(changed)), rng.randrange(7)
        end = min(len(changed), place + rng.choice((1, 2, 7, 40)))
        if what == 0:
            changed[place] ^= 1 << rng.randrange(8)
        elif what == 1:
            changed[place] = rng.randrange(256)
        elif what == 2:
            del changed[place:end]
        elif what == 3:
            changed[place:place] = rng.choice(
                (b"\x00", b'"', b",", b";", b"\r\n", b"\xff", b"1e999", b"=1+1", b"\xe2\x80\xae")
            )
        elif what == 4:
            changed[place:place] = changed[place:end] * rng.choice((1, 2, 50))
        elif what == 5:
            other = rng.randrange(len(changed))
            changed[place], changed[other] = changed[other], changed[place]
        else:
            del changed[place:]
    return bytes(changed)


# Studies.


@cache
def _studies() -> dict[str, tuple[bytes, dict[str, bytes]]]:
    """Return the bytes and the members of a study, in each form; made once."""
    study = small_study()
    made = {}
    for name, content in (("study.zip", zip_bytes(study)), ("study.xlsx", workbook_bytes(study))):
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            made[name] = content, {member: packed.read(member) for member in packed.namelist()}
    return made


def _changed_study(rng: random.Random) -> str:
    """Open a study of which bytes, a member, or a fact was changed; check some of those that open, and write them."""
    name = "study.xlsx" if rng.random() < WORKBOOKS else "study.zip"
    content, members = _studies()[name]
    how = rng.randrange(3)
    content = mutated(content, rng) if how == 0 else _with_changed_member(members, rng, facts=how == 2)
    study = study_of_bytes(content, name)
    if rng.random() < CHECKED:
        check_study(study)
        again = study_of_bytes(zip_bytes(study), "again.zip")
        named = study.unread["table"].isin([*TABLES, FACTS])  # a sheet of another name is said when read, and left
        if again.content_hash != replace(study, unread=study.unread[named]).content_hash:
            raise SilentChange("the study is another one after it was written and read again")
    return "opened"


def _with_changed_member(members: dict[str, bytes], rng: random.Random, *, facts: bool) -> bytes:
    names = list(members)
    chosen = next((name for name in names if facts and name.endswith("datapackage.json")), "") or rng.choice(names)
    data = members[chosen]
    changed = _changed_facts(data, rng) if facts and chosen.endswith(".json") else mutated(data, rng)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as new:
        for member, content in {**members, chosen: changed}.items():
            new.writestr(member, content)
    return packed.getvalue()


def _changed_facts(data: bytes, rng: random.Random) -> bytes:
    """Return a description in which one value somewhere is of another kind."""
    package = json.loads(data)
    place: Any = package
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        if not keys:
            return data
        key = rng.choice(keys)
        inner = place[key]
        if isinstance(inner, dict | list) and inner and rng.random() < 0.7:
            place = inner
            continue
        place[key] = rng.choice(
            (None, True, -1, 1e308, 10**400, "", "=1+1", [], {}, [1, "a"], {"a": 1}, "1,5", "\u202e")
        )
        return json.dumps(package).encode()


KINDS: tuple[Callable[[random.Random], str], ...] = (_as_written, _changed_bytes, _changed_study)


def main(words: list[str] | None = None) -> int:
    """Run for as long as asked, and print what came out; 1 if anything went wrong."""
    sys.set_int_max_str_digits(0)  # numbers of 400 digits are among the inputs
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--hours", type=float, default=1.0)
    asked.add_argument("--inputs", type=int, default=1_000_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--one", type=int, default=None)
    given = asked.parse_args(words)
    if given.one is not None:
        outcome = Outcome()
        try_one(given.seed, given.one, outcome)
    else:
        began = time.process_time()
        outcome = run(3600 * given.hours, given.inputs, given.seed, given.first)
        each = 1e3 * (time.process_time() - began) / max(outcome.inputs, 1)
        print(f"{each:.1f} ms of a processor each; go on with --first {given.first + outcome.inputs}")
    for name, count in outcome.counts.most_common():
        print(f"{name}: {count:,}")
    print(f"slowest {outcome.slowest:.2f} s")
    print("\n".join(outcome.wrong) or "nothing went wrong")
    return 1 if outcome.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
