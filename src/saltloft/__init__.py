"""Saltloft: runs a dry-curing house from delivery to dispatch.

Start reading at `foundation`, then follow the folders in the order of
docs/architecture.md; arrows point one way only. Names are loaded lazily so
that `import saltloft` costs nothing.
"""

from importlib import import_module
from importlib.metadata import version
from typing import Any

__version__ = version("saltloft")

_PUBLIC: dict[str, str] = {}

__all__ = ["__version__"]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'saltloft' has no attribute {name!r}")
