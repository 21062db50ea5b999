"""The answers of `trace --json` and `recall --json`; their fields are a contract and never renamed."""

from __future__ import annotations

from typing import Any

from saltloft.plant.contact import Contact
from saltloft.plant.entries import encode
from saltloft.plant.recall import RecallDrilled, ToTell, Yielding, score_pct, stuffed_mg
from saltloft.plant.recall_account import Account
from saltloft.plant.traced import Balance, RecallAnswer, Traced


def trace_json(traced: Traced) -> dict[str, Any]:
    """The answer of `saltloft trace --json`, schema 'trace/1'; weights in milligrams."""
    return {
        "schema": "trace/1",
        "starts": list(traced.flow.starts),
        "direction": traced.flow.direction,
        "at": traced.at.isoformat(),
        "start_mg": traced.start_mg,
        "found_mg": traced.found_mg,
        "nodes": [
            {
                "node": row.node.node,
                "sort": row.node.sort,
                "product": row.node.product,
                "party": row.node.party,
                "state": row.node.state,
                "at": row.at.isoformat() if row.at else None,
                "booked_mg": row.node.booked_mg,
                "steps": row.steps,
                "likely_mg": row.likely_mg,
                "worst_mg": row.worst_mg,
                "here_mg": row.here_mg,
                "unweighed": row.unweighed,
                "through_rework": row.again,
                "balance": _balance(row.balance),
                "entries": list(row.entries),
            }
            for row in traced.rows
        ],
        "links": [
            {
                "source": link.source,
                "lot": link.lot,
                "sort": link.sort,
                "ingredient": link.ingredient,
                "mg": link.mg,
                "carried_mg": mg,
                "at": link.at,
                "entry": link.entry_id,
            }
            for link, mg in zip(traced.flow.links, traced.link_mg, strict=True)
        ],
    }


def _balance(balance: Balance | None) -> dict[str, Any] | None:
    if balance is None:
        return None
    return {
        "in_mg": balance.in_mg,
        "out_mg": balance.out_mg,
        "left_mg": balance.left_mg,
        "stand": balance.stand,
        "yield_mg": _yielding(balance.yielding),
    }


def _yielding(band: Yielding | None) -> list[int] | None:
    return [band.low_mg, band.expected_mg, band.high_mg] if band else None


def recall_json(answer: RecallAnswer) -> dict[str, Any]:
    """The answer of `saltloft recall --json`, schema 'recall/1'; weights in milligrams."""
    recall = answer.recall
    return {
        "schema": "recall/1",
        "starts": list(recall.starts),
        "at": answer.at.isoformat(),
        "reason": answer.reason,
        "stuffed_mg": stuffed_mg(recall.direct),
        "through_rework_mg": stuffed_mg(recall.reworked),
        "account": _account(recall.account),
        "account_through_rework": _account(recall.again),
        "lots": [
            {
                "lot": lot.node.node,
                "product": lot.node.product,
                "stuffed_mg": lot.node.booked_mg,
                "finished_mg": lot.finished_mg,
                "yield_mg": _yielding(lot.yielding),
                "through_rework": lot.again,
                "part": lot.part,
                "state": lot.node.state,
            }
            for lot in recall.lots
        ],
        "packs": [node.node for node in recall.packs],
        "customers": [_customer(one) for one in recall.customers],
        "contacts": [_contact(contact) for contact in answer.contacts],
    }


def _customer(one: ToTell) -> dict[str, Any]:
    return {
        "customer": one.party,
        "mg": one.mg,
        "whole_mg": one.whole_mg,
        "shipments": [node.node for node in one.shipments],
        "packs": list(one.packs),
        "through_rework": one.again,
    }


def _contact(contact: Contact) -> dict[str, Any]:
    return {
        "node": contact.run.node,
        "made": contact.run.made,
        "line": contact.run.line,
        "start": contact.run.start.isoformat(),
        "why": contact.why,
        "through": contact.through.node,
        "entry": contact.run.entry_id,
    }


def _account(account: Account) -> dict[str, Any]:
    return {
        "finished_mg": account.finished_mg,
        "accounted_mg": account.accounted_mg,
        "accounted_pct": account.accounted_pct,
        "places_mg": dict(account.places),
        "lost_mg": dict(account.lost_mg),
        "stock_by_the_books": sorted(account.booked_only),
    }


def drill_json(done: RecallDrilled) -> dict[str, Any]:
    """A drill's record, schema 'recall_drill/1'."""
    share = score_pct(done)
    return {
        "schema": "recall_drill/1",
        **encode(done),
        "accounted_pct": str(share) if share is not None else None,
    }
