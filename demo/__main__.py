"""`python -m demo OUT_DIR [--seed N] [--truth FILE] [--if-stale]`: write the demo year."""

from __future__ import annotations

import argparse
from pathlib import Path

from demo.build import SHIPPED_SEED, build, build_if_stale


def main() -> None:
    """Read the command line and build."""
    parser = argparse.ArgumentParser(prog="python -m demo", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=SHIPPED_SEED)
    parser.add_argument("--truth", type=Path, help="also write the truth here")
    parser.add_argument("--if-stale", action="store_true", help="only when the folder is not up to date")
    given = parser.parse_args()
    if given.if_stale and not given.truth:
        if not build_if_stale(given.seed, given.folder):
            return
    else:
        build(given.seed, given.folder, given.truth)
    size = sum(path.stat().st_size for path in given.folder.rglob("*") if path.is_file())
    print(f"{given.folder}: seed {given.seed}, {size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
