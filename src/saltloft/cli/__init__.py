"""The command line. May import everything but `web`.

`main.py` lists the commands; each lives in a module of its own and imports
what is heavy only when it runs, so that `--help` stays quick.
"""

import os

from saltloft.cli.main import main

__all__ = ["main"]

# Matrices here are small: threads inside one product only wait for each other, and the lots that
# are computed side by side lose half their time to it. Set before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
