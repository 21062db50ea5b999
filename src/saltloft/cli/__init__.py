"""The command line. May import everything but `web`.

`main.py` lists the commands; each lives in a module of its own and imports
what is heavy only when it runs, so that `--help` stays quick.
"""

from saltloft.cli.main import main

__all__ = ["main"]
