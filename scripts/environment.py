"""Make the virtual environment of this checkout, once, and say how to run things in it."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[1]
ENVIRONMENT = CHECKOUT / ".venv"
PYTHON = ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
OLDEST = (3, 11)


def ready(extra: str = "") -> Path:
    """Return the Python of the environment with the project installed, making it if need be.

    Only files whose SHA-256 stands in the list are installed. With any extra the list of everything is taken, tests
    and tools included.
    """
    if sys.version_info < OLDEST:
        sys.exit(
            f"Afterfeel needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {sys.version.split()[0]}. "
            "Install a newer one and start again with it."
        )
    listed = CHECKOUT / ("constraints.txt" if extra else "requirements.txt")
    done = ENVIRONMENT / f"installed-{extra or 'app'}"
    state = hashlib.sha256((CHECKOUT / "pyproject.toml").read_bytes() + listed.read_bytes()).hexdigest()
    if done.exists() and done.read_text() == state and PYTHON.exists():
        return PYTHON
    if not PYTHON.exists():
        print(f"Making a virtual environment in {ENVIRONMENT} ...", flush=True)
        venv.create(ENVIRONMENT, with_pip=True)
    print("Installing (about a minute, once) ...", flush=True)
    install = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    if extra:  # who runs the tests once needs few of the modules: each is compiled when it is first used
        install.append("--no-compile")
    for words in (
        ["--require-hashes", "--no-deps", "--requirement", str(listed)],
        ["--no-deps", "--no-build-isolation", "--editable", str(CHECKOUT)],  # built with what the list holds
    ):
        if subprocess.run([*install, *words], check=False).returncode:
            sys.exit("The installation did not finish. Look at the lines above; most often the network is the reason.")
    done.write_text(state)
    return PYTHON
