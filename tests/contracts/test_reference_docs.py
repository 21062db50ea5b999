"""Whatever can be configured, shown, stated or raised is documented."""

from __future__ import annotations

import subprocess
import sys

from tests.contracts.source_tree import ROOT


def test_the_reference_is_what_the_code_says() -> None:
    """docs/reference.md names every command, option, setting, page, entry and error of today."""
    code = "import sys; sys.path.insert(0, 'scripts'); import make_reference; "
    code += "print(make_reference.page(), end='')"
    now = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    kept = (ROOT / "docs" / "reference.md").read_text(encoding="utf-8")
    assert kept == now.stdout, "docs/reference.md is behind the code: run scripts/docs"


def test_every_setting_and_option_has_a_line_of_help() -> None:
    """A row without a meaning is not documentation."""
    text = (ROOT / "docs" / "reference.md").read_text(encoding="utf-8")
    bare = [line for line in text.splitlines() if line.startswith("|") and line.rstrip().endswith("|  |")]
    assert not bare, bare


def test_every_page_of_the_docs_is_reachable() -> None:
    """No document stands alone: each is linked from the two doors or from another page."""
    pages = [page for page in (ROOT / "docs").rglob("*.md") if page.name != "README.md"]
    texts = {
        page: page.read_text(encoding="utf-8")
        for page in [*(ROOT / "docs").rglob("*.md"), ROOT / "README.md"]
    }
    lonely = []
    for page in pages:
        if page.parent.name == "decisions":
            continue
        if not any(page.name in text for other, text in texts.items() if other != page):
            lonely.append(str(page.relative_to(ROOT)))
    assert not lonely, lonely
