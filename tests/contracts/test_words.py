"""What is never printed, and that every printed sentence can be translated."""

from __future__ import annotations

import ast
import re

import pytest
from tests.contracts.source_tree import PACKAGE, ROOT, python_files, said_sentences

FORBIDDEN = re.compile(
    r"\b(safe|unsafe|pass|passed|passes|ok to eat|fit to eat)\b",
    re.IGNORECASE,
)
CAUTION = (
    "Saltloft does not decide whether this may be eaten or sold; the inspector and a process authority do"
)


def _printed_texts() -> dict[str, str]:
    """Templates, papers, scripts of the pages and every literal handed to say()."""
    texts = {}
    for suffix in ("*.html", "*.typ", "*.js", "*.po"):
        for file in PACKAGE.rglob(suffix):
            if "demo_files" not in file.parts:
                texts[str(file.relative_to(ROOT))] = _visible(file.suffix, file.read_text(encoding="utf-8"))
    for file in python_files():
        for line, argument in said_sentences(file):
            if isinstance(argument, ast.Constant) and isinstance(argument.value, str):
                texts[f"{file.relative_to(ROOT)}:{line}"] = argument.value
    return texts


def _visible(suffix: str, text: str) -> str:
    """Drops what no reader sees: Jinja filters such as |safe, comments, code words."""
    text = re.sub(r"\|\s*safe\b", "", text)
    if suffix == ".js":
        return "\n".join(re.findall(r"\"[^\"\n]*\"|'[^'\n]*'|`[^`]*`", text))
    if suffix == ".typ":
        return "\n".join(re.findall(r"\[[^\]]*\]|\"[^\"\n]*\"", text))
    return text


def test_the_forbidden_words_are_never_printed() -> None:
    """'safe', 'pass(ed)' and 'OK to eat' are on no page and no paper, not even denied."""
    texts = _printed_texts()
    assert len(texts) > 50, "the pages and papers were not found"
    found = {where: FORBIDDEN.search(text).group() for where, text in texts.items() if FORBIDDEN.search(text)}  # type: ignore[union-attr]
    assert not found, found


def test_the_caution_is_on_the_lot_page_and_the_dossier() -> None:
    """Who decides is said in our own fixed words."""
    whole = "\n".join(_printed_texts().values())
    assert CAUTION in whole


@pytest.mark.parametrize("file", python_files(), ids=lambda file: file.name)
def test_every_sentence_is_a_literal(file) -> None:  # type: ignore[no-untyped-def]
    """A sentence that is put together at run time cannot be translated."""
    loose = [
        line
        for line, argument in said_sentences(file)
        if file.name != "words.py"
        and not (isinstance(argument, ast.Constant) and isinstance(argument.value, str))
    ]
    assert not loose, f"{file}: say() without a literal on lines {loose}"


def test_nothing_kept_names_a_machine_path_or_a_registry() -> None:
    """No commit carries a path of one machine or the address of a registry."""
    import subprocess

    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    hosts = ("pypi" + ".org", "files." + "pythonhosted", "registry." + "npmjs", "deb." + "debian.org")
    pattern = re.compile("|".join([re.escape(host) for host in hosts] + [r"/(?:work|farm)/\w"]))
    hits = []
    for name in listed:
        path = ROOT / name
        if path.suffix in {".png", ".pdf", ".xz", ".zip", ".ico"} or not path.is_file():
            continue
        if pattern.search(path.read_text(encoding="utf-8", errors="replace")):
            hits.append(name)
    assert not hits, hits
