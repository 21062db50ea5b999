"""Codes by which devices are enrolled, and what is known of each device: its clock, wrong PINs, last seen."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _text(name: str, *, key: bool = False, default: str | None = None) -> sa.Column[str]:
    return sa.Column(name, WORDS, primary_key=key, nullable=False, server_default=default)


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "enrol_code",
        _text("token_hash", key=True),
        _text("device"),
        _text("label"),
        _text("scope"),
        _text("made_by"),
        _text("made_at"),
        _text("expires_at"),
        _text("used_at", default=""),
    )
    op.create_table(
        "device_state",
        _text("device", key=True),
        _text("seen_at", default=""),
        sa.Column("offset_ms", BIG, nullable=False, server_default="0"),
        _text("offset_at", default=""),
        sa.Column("tries", sa.Integer, nullable=False, server_default="0"),
        _text("tries_since", default=""),
    )
