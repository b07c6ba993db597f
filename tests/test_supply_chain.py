"""What is installed is known by its hash; licences, bill of materials and audit are made by command."""

import http.server
import importlib.util
import json
import re
import sys
import threading
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def script(name):
    specification = importlib.util.spec_from_file_location(name, ROOT / "scripts" / f"{name}.py")
    module = importlib.util.module_from_spec(specification)
    sys.modules[name] = module
    specification.loader.exec_module(module)
    return module


licences, environment = script("licences"), script("environment")


@pytest.mark.parametrize("listed", ["requirements.txt", "constraints.txt"])
def test_every_library_is_pinned_and_known_by_the_hashes_of_its_files(listed):
    found = licences.libraries(ROOT / listed)
    pinned = re.findall(r"^[A-Za-z0-9._-]+==", (ROOT / listed).read_text(), re.MULTILINE)
    assert len(found) == len(pinned) > 50
    assert all(each.hashes for each in found)


def test_what_runs_is_part_of_what_is_tested_in_the_same_versions_and_holds_every_dependency():
    run, everything = ({(e.name, e.version) for e in licences.libraries(f)} for f in (licences.RUN, licences.ALL))
    assert run < everything
    wanted = re.search(r"^dependencies = \[(.*?)\]", (ROOT / "pyproject.toml").read_text(), re.MULTILINE | re.DOTALL)
    names = {re.match(r"[A-Za-z0-9.-]+", word)[0] for word in re.findall(r'"([^"]+)"', wanted[1])}
    assert names <= {name for name, _ in run}


def test_both_start_scripts_install_only_what_has_its_hash_in_the_list(tmp_path, monkeypatch):
    ran = []

    class Done:
        returncode = 0

    monkeypatch.setattr(environment.subprocess, "run", lambda words, check: ran.append(words) or Done())
    monkeypatch.setattr(environment, "ENVIRONMENT", tmp_path)
    for extra, listed in (("", "requirements.txt"), ("test", "constraints.txt")):
        ran.clear()
        environment.ready(extra)
        assert ran[0][-4:] == ["--require-hashes", "--no-deps", "--requirement", str(environment.CHECKOUT / listed)]
        assert ran[1][-4:-1] == ["--no-deps", "--no-build-isolation", "--editable"]
        environment.ready(extra)
        assert len(ran) == 2  # once


def test_the_page_of_licences_is_the_one_of_the_libraries_that_are_pinned():
    page = (ROOT / "docs" / "licences.md").read_text()
    for each in licences.libraries(licences.ALL):
        assert f"| {each.name} | {each.version} |" in page
    # from the libraries' own licence files
    to_mind = page.split("## To mind")[1].split("## ")[0]
    assert re.search(r"- psycopg \S+: .*LGPL-3\.0", to_mind)
    assert re.search(r"- certifi \S+: MPL-2\.0", to_mind)


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        (("MIT", "long text", []), "MIT"),
        (("", "Apache License\nand so on", ["License :: OSI Approved :: MIT License"]), "MIT"),
        (("", "BSD-3-Clause", []), "BSD-3-Clause"),
        (("", "\n", []), "none stated"),
    ],
)
def test_a_licence_is_told_as_short_as_it_is_stated(stated, words):
    assert licences.licence_stated(*stated) == words


def test_the_bill_of_materials_names_every_library_with_its_hashes(tmp_path):
    # required fields and their form: https://cyclonedx.org/docs/1.6/json/
    assert licences.main(["--bill", str(tmp_path / "bill.json")]) == 0
    bill = json.loads((tmp_path / "bill.json").read_text())
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert [(c["name"], c["version"]) for c in bill["components"]] == [
        (each.name, each.version) for each in licences.libraries(licences.RUN)
    ]
    references = [component["bom-ref"] for component in bill["components"]]
    assert len(references) == len(set(references))
    assert bill["dependencies"][0]["dependsOn"] == references
    hashes = [h for c in bill["components"] for r in c["externalReferences"] for h in r["hashes"]]
    assert all(h["alg"] == "SHA-256" and re.fullmatch("[0-9a-f]{64}", h["content"]) for h in hashes)
    assert all(re.fullmatch(r"pkg:pypi/[a-z0-9._-]+@\S+", c["purl"]) for c in bill["components"])


@contextmanager
def advisories(status, answer):
    class Service(http.server.BaseHTTPRequestHandler):
        def do_POST(self):
            asked.append(json.loads(self.rfile.read(int(self.headers["content-length"]))))
            self.send_response(status)
            self.end_headers()
            self.wfile.write(answer)

        def log_message(self, *words):
            pass

    asked = []
    server = http.server.HTTPServer(("127.0.0.1", 0), Service)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/", asked
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


LIBRARIES = tuple(licences.Library(name, "1.0", "", (), "MIT") for name in ("one", "two"))


def test_the_audit_names_what_the_service_knows():
    with advisories(200, b'{"results": [{}, {"vulns": [{"id": "PYSEC-1"}]}]}') as (service, asked):
        assert licences.audit(LIBRARIES, service) == (1, ["two 1.0: PYSEC-1"])
        assert asked[0]["queries"][0] == {"version": "1.0", "package": {"name": "one", "ecosystem": "PyPI"}}
    with advisories(200, b'{"results": [{}, {}]}') as (service, _):
        code, (said,) = licences.audit(LIBRARIES, service)
        assert (code, said.startswith("2 libraries checked")) == (0, True)


@pytest.mark.parametrize(
    ("status", "answer"),
    [(500, b""), (200, b"no json"), (200, b"[]"), (200, b'{"results": [{}]}'), (200, b'{"results": [1, 2]}')],
)
def test_where_no_service_answers_the_audit_says_that_nothing_was_checked(status, answer):
    with advisories(status, answer) as (service, _):
        code, (said,) = licences.audit(LIBRARIES, service)
    assert code == 2
    assert said.startswith("not checked: ")
    assert licences.audit(LIBRARIES, service)[0] == 2  # nobody is there any more
