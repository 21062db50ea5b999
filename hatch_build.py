"""Build hook of the wheel: runs the demo generator and packs the files it wrote, data only."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class DemoFilesHook(BuildHookInterface):  # type: ignore[type-arg]
    """Puts `saltloft/demo_files/` into the wheel; an editable install writes none (`python -m demo` does)."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Generate the demo files where they are missing or older than their generator."""
        if self.target_name != "wheel" or version == "editable":
            return
        sys.path.insert(0, self.root)
        demo = import_module("demo.build")
        demo.build_if_stale(demo.SHIPPED_SEED, Path(self.root, "src", "saltloft", "demo_files"))
        build_data["artifacts"].append("src/saltloft/demo_files/**")
