"""What does Afterfeel stand on? Licences of all libraries, a bill of materials, and known weaknesses.

`python3 scripts/licences.py` writes docs/licences.md; `--bill FILE` writes a CycloneDX bill of materials;
`--audit` asks an advisory service about every library, and says "not checked" where none answers.
Run it with the Python of the checkout (`.venv/bin/python`), in which the libraries are installed.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import urllib.error
import urllib.request
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

CHECKOUT = Path(__file__).resolve().parents[1]
RUN, ALL = CHECKOUT / "requirements.txt", CHECKOUT / "constraints.txt"
ADVISORIES = "https://api.osv.dev/v1/querybatch"  # https://google.github.io/osv.dev/post-v1-querybatch/
NOT_READ = "not installed here, not read"
_WAITS = 20.0  # seconds
_PIN = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)==(?P<version>[^ ;\\]+)(?: *; *(?P<marker>[^\\]+?))? *\\?$")
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")
_RECIPROCAL = re.compile(r"\b(?:[AL]?GPL|MPL|EPL|CDDL|EUPL)|GNU |Mozilla Public", re.IGNORECASE)
_CLASSIFIED = "License :: OSI Approved :: "
# Short names of SPDX (https://spdx.org/licenses/) for what packages say in other words
_SAME = {
    "Apache 2.0": "Apache-2.0",
    "Apache License 2.0": "Apache-2.0",
    "Apache License, Version 2.0": "Apache-2.0",
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD",
    "GNU Lesser General Public License v3 (LGPLv3)": "LGPL-3.0",
    "GNU General Public License v3 (GPLv3)": "GPL-3.0",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "The Unlicense (Unlicense)": "Unlicense",
}


@dataclass(frozen=True, slots=True)
class Library:
    """A pinned library: where it is needed, what it is under, and the SHA-256 of the files that may be installed."""

    name: str
    version: str
    marker: str
    hashes: tuple[str, ...]
    licence: str


def libraries(listed: Path) -> tuple[Library, ...]:
    """Return the libraries of a list with hashes."""
    lines = listed.read_text(encoding="utf-8").splitlines()
    starts = [number for number, line in enumerate(lines) if _PIN.match(line)]
    found = []
    for start, end in zip(starts, [*starts[1:], len(lines)], strict=True):
        pin = _PIN.match(lines[start])
        assert pin is not None
        name, version = pin["name"].lower(), pin["version"]
        hashes = tuple(_HASH.findall("\n".join(lines[start:end])))
        found.append(Library(name, version, pin["marker"] or "", hashes, licence_of(name, version)))
    return tuple(found)


def licence_of(name: str, version: str) -> str:
    """Return the licence that an installed library states; `NOT_READ` if this version is not installed here."""
    try:
        facts = metadata.metadata(name)
    except metadata.PackageNotFoundError:
        return NOT_READ
    if facts["Version"] != version:
        return NOT_READ
    return licence_stated(
        facts.get("License-Expression", ""), facts.get("License", ""), facts.get_all("Classifier") or []
    )


def licence_stated(expression: str, words: str, classifiers: Iterable[str]) -> str:
    """Return a licence as short as a library states it: its SPDX expression, else classifiers, else its own words."""
    classified = [each.removeprefix(_CLASSIFIED) for each in classifiers if each.startswith(_CLASSIFIED)]
    first = next((line.strip() for line in (words or "").splitlines() if line.strip()), "")
    stated = expression or " and ".join(_SAME.get(each, each) for each in classified) or _SAME.get(first, first)
    return stated[:80] or "none stated"


def page(run: Iterable[Library], everything: Iterable[Library]) -> str:
    """Return docs/licences.md."""
    run = list(run)
    names = {each.name for each in run}
    tests = [each for each in everything if each.name not in names]
    ask_back = [each for each in run if _RECIPROCAL.search(each.licence)]
    lines = [
        "# Licences of what Afterfeel stands on",
        "",
        "Made by `python3 scripts/licences.py` from what the installed libraries state of themselves; no legal advice.",
        "Afterfeel itself is under the MIT licence.",
        "",
        "## To mind when it is passed on",
        "",
        "These run with it and ask for something beyond keeping their notices, such as handing on their own source:",
        "",
        *(f"- {each.name} {each.version}: {each.licence}" for each in ask_back),
        "",
        *_table("Installed to run it", run),
        *_table("Only for tests and development, not handed on", tests),
    ]
    return "\n".join(lines).rstrip() + "\n"


def _table(title: str, rows: Iterable[Library]) -> Iterator[str]:
    yield from (f"## {title}", "", "| library | version | licence | only where |", "|---|---|---|---|")
    yield from (f"| {each.name} | {each.version} | {each.licence} | {each.marker} |" for each in rows)
    yield ""


def bill(run: Iterable[Library], version: str) -> dict[str, Any]:
    """Return a bill of materials, CycloneDX 1.6 (https://cyclonedx.org/docs/1.6/json/).

    A library comes as several files, one for each kind of computer: each of its hashes is that of one of them.
    """
    own = {"type": "application", "bom-ref": "afterfeel", "name": "afterfeel", "version": version}
    own |= {"licenses": [{"license": {"id": "MIT"}}]}
    components = [_component(each) for each in run]
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": own},
        "components": components,
        "dependencies": [{"ref": "afterfeel", "dependsOn": [each["bom-ref"] for each in components]}],
    }


def _component(library: Library) -> dict[str, Any]:
    reference = f"pkg:pypi/{library.name}@{library.version}"
    files = [
        {
            "type": "distribution",
            "url": f"https://pypi.org/project/{library.name}/{library.version}/",
            "hashes": [{"alg": "SHA-256", "content": each}],
        }
        for each in library.hashes
    ]
    found: dict[str, Any] = {
        "type": "library",
        "bom-ref": reference,
        "name": library.name,
        "version": library.version,
        "purl": reference,
        "externalReferences": files,
    }
    if library.licence != NOT_READ:
        found["licenses"] = [{"license": {"name": library.licence}}]
    if library.marker:
        found["properties"] = [{"name": "afterfeel:only_where", "value": library.marker}]
    return found


def audit(rows: Iterable[Library], service: str = ADVISORIES) -> tuple[int, list[str]]:
    """Ask an advisory service about libraries.

    Returns
    -------
    code, lines
        0 if it knows of no weakness, 1 if it knows of one, 2 if it was not asked successfully: nothing was checked.
    """
    rows = list(rows)
    asked = [{"version": each.version, "package": {"name": each.name, "ecosystem": "PyPI"}} for each in rows]
    request = urllib.request.Request(  # noqa: S310  # the address is ours
        service, json.dumps({"queries": asked}).encode(), {"content-type": "application/json"}
    )
    try:
        with urllib.request.urlopen(request, timeout=_WAITS) as answer:  # noqa: S310  # the same
            results = json.load(answer)["results"]
        found = [
            (row, [each["id"] for each in result.get("vulns", [])]) for row, result in zip(rows, results, strict=True)
        ]
    except (urllib.error.URLError, OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        return 2, [
            f"not checked: {service} gave no answer that can be read ({error}). Weaknesses are unknown, not absent."
        ]
    known = [f"{row.name} {row.version}: {', '.join(ids)}" for row, ids in found if ids]
    return (1, known) if known else (0, [f"{len(rows)} libraries checked; {service} knows of no weakness in them."])


def main(words: list[str] | None = None) -> int:
    """Do what was asked for."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--bill", type=Path, metavar="FILE")
    asked.add_argument("--audit", action="store_true")
    given = asked.parse_args(words)
    run, everything = libraries(RUN), libraries(ALL)
    if given.bill:
        facts = (CHECKOUT / "pyproject.toml").read_text(encoding="utf-8")
        version = re.search(r'^version = "([^"]+)"', facts, re.MULTILINE)
        given.bill.write_text(json.dumps(bill(run, version[1] if version else ""), indent=1) + "\n", encoding="utf-8")
        print(f"The bill of materials is in {given.bill}: {len(run)} libraries.")
    if given.audit:
        code, lines = audit(everything)
        print("\n".join(lines))
        return code
    if not given.bill:
        place = CHECKOUT / "docs" / "licences.md"
        place.parent.mkdir(exist_ok=True)
        place.write_text(page(run, everything), encoding="utf-8")
        print(f"{place} names {len(everything)} libraries.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
