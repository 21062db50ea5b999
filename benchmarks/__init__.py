"""Speed, memory and honesty, each a module of its own; `scripts/bench NAME` runs one."""

import os

# As the program itself does, before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
