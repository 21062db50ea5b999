"""The answers of `judge --json` and `today --json`; their fields are a contract and never renamed.

The JSON Schemas beside them in docs/schemas say what each field may hold.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from saltloft.plant.answers import DaySheet, LotJudgement
from saltloft.plant.checks.verdict import Verdict


def judge_json(judgement: LotJudgement) -> dict[str, Any]:
    """The answer of `saltloft judge --json`, schema 'judge/1'."""
    verdicts = [v for stand in judgement.hazards for v in stand.verdicts]
    return {
        "schema": "judge/1",
        "lot": judgement.lot,
        "at": judgement.at.isoformat(),
        "verdicts": [verdict_json(v) for v in (*verdicts, *judgement.names, *judgement.other)],
        "releasable": judgement.releasable,
        "open": list(judgement.open),
    }


def judgement_digest(judgement: LotJudgement) -> str:
    """SHA-256 of a judgement's answer without its moment: what a signature under it stands for."""
    answer = judge_json(judgement)
    del answer["at"]
    text = json.dumps(answer, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """One verdict as the contract of `judge --json` writes it, with the sentence beside it."""
    return {
        "hazard": verdict.hazard,
        "rule": verdict.rule,
        "outcome": verdict.outcome.value,
        "used": verdict.used,
        "limit": verdict.limit,
        "unit": verdict.unit,
        "margin": verdict.margin,
        "readings": list(verdict.readings),
        "gaps": [
            {"start": gap.start, "end": gap.end, "worst": gap.worst, "words": gap.words}
            for gap in verdict.gaps
        ],
        "sources": list(verdict.sources),
        "confidence": verdict.confidence,
        "next": verdict.next,
        "words": verdict.words,
        "why": verdict.why,
    }


def today_json(day: DaySheet) -> dict[str, Any]:
    """The answer of `saltloft today --json`, schema 'today/1'."""
    return {
        "schema": "today/1",
        "date": day.day.isoformat(),
        "items": [
            {
                "kind": item.kind,
                "subject": item.subject,
                "number": item.number,
                "unit": item.unit,
                "because": item.because,
                "sources": list(item.sources),
            }
            for item in day.items
        ],
    }
