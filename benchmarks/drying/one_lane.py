"""The compiled kernel's own source with one lane in place of eight: a scalar code of the same scheme.

Nothing of the physics is written twice: the files of the kernel are copied with their number of
lanes set to one and imported under another name.
"""

from __future__ import annotations

import hashlib
import importlib
import re
import sys
import tempfile
from pathlib import Path
from types import ModuleType

from saltloft.process import drying

NAMES = ("kernel_lanes", "kernel_algebra", "kernel_rates", "kernel", "compiled")
PACKAGE = "saltloft_one_lane"


def one_lane(name: str) -> ModuleType:
    """One of NAMES, compiled for one member at a time.

    Args:
        name: str. One of NAMES.
    """
    if PACKAGE not in sys.modules:
        sys.path.insert(0, str(_written()))
    return importlib.import_module(f"{PACKAGE}.{name}")


def _written() -> Path:
    """The folder with the copies; kept between runs as long as the kernel is the same."""
    source = Path(drying.__file__).parent
    texts = {path.stem: _narrowed(path.read_text(encoding="utf-8")) for path in source.glob("kernel*.py")}
    texts["scheme"] = (source / "scheme.py").read_text(encoding="utf-8")
    texts["compiled"] = _narrowed((source / "compiled.py").read_text(encoding="utf-8"))
    digest = hashlib.sha256("".join(texts[name] for name in sorted(texts)).encode()).hexdigest()[:16]
    folder = Path(tempfile.gettempdir(), f"saltloft-one-lane-{digest}")
    package = folder / PACKAGE
    package.mkdir(parents=True, exist_ok=True)
    for name, text in {"__init__": "", **texts}.items():
        path = package / f"{name}.py"
        if not path.exists():
            path.write_text(text, encoding="utf-8")
    return folder


def _narrowed(text: str) -> str:
    text = re.sub(r"^LANES = \d+", "LANES = 1", text, flags=re.MULTILINE)
    text = re.sub(r"from saltloft\.process\.drying import (kernel\w*)", rf"from {PACKAGE} import \1", text)
    return text.replace("from saltloft.process.drying.kernel", f"from {PACKAGE}.kernel")
