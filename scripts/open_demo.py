"""Set everything up if need be, then open the app on the demo study."""

from __future__ import annotations

import subprocess
import sys

from environment import CHECKOUT, ready

if __name__ == "__main__":
    command = [str(ready()), "-m", "panel", "app", *sys.argv[1:]]
    try:
        sys.exit(subprocess.run(command, cwd=CHECKOUT, check=False).returncode)
    except KeyboardInterrupt:
        sys.exit(0)
