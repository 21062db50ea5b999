"""The page on logger files and its JSON schema say what the reader does."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime

import jsonschema
from tests.contracts.source_tree import ROOT

from saltloft.jobs import watch
from saltloft.jobs.watch import Said
from saltloft.store.loggers.reader import ANSWER_KEYS

PAGE = (ROOT / "docs/how-to/import-logger-files.md").read_text(encoding="utf-8")
SCHEMA = json.loads((ROOT / "docs/schemas/import-1.json").read_text(encoding="utf-8"))
NOW = datetime(2026, 11, 5, tzinfo=UTC)


def test_every_answer_is_documented_and_no_other() -> None:
    """The table of answers holds each key the reader takes."""
    table = PAGE.partition("## Answers")[2].partition("\n## ")[0]
    named = {
        key
        for row in re.findall(r"^\| (`.*?) \|", table, re.MULTILINE)
        for key in re.findall(r"`(.*?)`", row)
    }
    assert named == set(ANSWER_KEYS)


def test_a_full_answer_and_a_sparse_one_fit_the_schema() -> None:
    """With gaps, flags, refused rows, notes and questions, and with none of them."""
    rows = [f"2026-11-03 {minute // 60:02d}:{minute % 60:02d},14.0,99.9" for minute in range(0, 421, 5)]
    rows += ["2026-11-03 07:05,x,90", "2026-11-03 09:10,56.0,91", "2026-11-03 09:11,70.0,91"]
    full = "Serial: 7\nPlace: D2\n\nTimestamp,Temp °C,RH %\n" + "\n".join(rows)
    for text, said in (
        (full, Said(room="D2")),
        ("Timestamp,Temp °C\n2026-11-03 10:00,14.0\n", Said(room="D2", zone="UTC")),
    ):
        taken = watch.look("D2.csv", text.encode(), said, now=NOW)
        answer = {"schema": "import/1", "files": [watch.as_plain(taken)]}
        jsonschema.validate(json.loads(json.dumps(answer)), SCHEMA)
    assert not taken.reading.blocked
