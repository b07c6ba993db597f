"""Set everything up if need be, then run the tests; words after the command go to pytest."""

from __future__ import annotations

import os
import subprocess
import sys

from environment import CHECKOUT, ready

if __name__ == "__main__":
    one_thread = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    command = [str(ready("test")), "-m", "pytest", *sys.argv[1:]]
    sys.exit(subprocess.run(command, cwd=CHECKOUT, env=os.environ | one_thread, check=False).returncode)
