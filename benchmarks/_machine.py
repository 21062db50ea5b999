"""What a figure was measured on."""

from __future__ import annotations

import os
import platform
from importlib.metadata import version

PACKAGES = ("numpy", "scipy", "numba")


def machine() -> dict[str, str | float]:
    """Processor, cores, load and versions, by name."""
    return {
        "processor": _processor(),
        "cores": float(os.cpu_count() or 0),
        "load": os.getloadavg()[0],
        "python": platform.python_version(),
        **{name: version(name) for name in PACKAGES},
    }


def _processor() -> str:
    """The processor's name where the system tells it, else its family."""
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as lines:
            for line in lines:
                if line.startswith("model name"):
                    return line.split(":", 1)[1].strip()
    except OSError:
        pass
    return platform.machine()
