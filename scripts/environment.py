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
    """Return the Python of the environment with the project and an extra installed, making it if need be."""
    if sys.version_info < OLDEST:
        sys.exit(
            f"Afterfeel needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {sys.version.split()[0]}. "
            "Install a newer one and start again with it."
        )
    wanted = CHECKOUT / (f".[{extra}]" if extra else ".")
    done = ENVIRONMENT / f"installed-{extra or 'app'}"
    state = hashlib.sha256(
        (CHECKOUT / "pyproject.toml").read_bytes() + (CHECKOUT / "constraints.txt").read_bytes()
    ).hexdigest()
    if done.exists() and done.read_text() == state and PYTHON.exists():
        return PYTHON
    if not PYTHON.exists():
        print(f"Making a virtual environment in {ENVIRONMENT} ...", flush=True)
        venv.create(ENVIRONMENT, with_pip=True)
    print("Installing (about a minute, once) ...", flush=True)
    command = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    command += ["--constraint", str(CHECKOUT / "constraints.txt"), "--editable", str(wanted)]
    if subprocess.run(command, check=False).returncode:
        sys.exit("The installation did not finish. Look at the lines above; most often the network is the reason.")
    done.write_text(state)
    return PYTHON
