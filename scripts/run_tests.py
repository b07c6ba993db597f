"""Set everything up if need be, then run the tests, a file to a process; words after the command go to pytest."""

from __future__ import annotations

import os
import subprocess
import sys

from environment import CHECKOUT, ready

MOST_PROCESSES = 4  # a browser and a server in each of them fill the memory before more would help
PLAIN = "--assert=plain"
"""No assertion tells its values: to rewrite them takes each process ten seconds; one file run alone tells them."""
# Tests with a browser or a database wait a good part of their time: one process more than there are processors.

if __name__ == "__main__":
    one_thread = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}  # compile once
    processes = str(min((os.cpu_count() or 1) + 1, MOST_PROCESSES))
    command = [
        str(ready("test")),
        "-m",
        "pytest",
        "-n",
        processes,
        "--dist",
        "loadfile",
        "--no-loadscope-reorder",
        PLAIN,
        *sys.argv[1:],
    ]
    sys.exit(subprocess.run(command, cwd=CHECKOUT, env=kept | one_thread, check=False).returncode)
