"""When the house was last looked after, and what live values leave beside their minute means."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "upkeep",
        sa.Column("sort", WORDS, primary_key=True, nullable=False),
        sa.Column("at", WORDS, nullable=False),
        sa.Column("good", sa.Integer, nullable=False),
        sa.Column("words", WORDS, nullable=False),
    )
    op.create_table(
        "reading_minute",
        sa.Column("series", sa.Integer, nullable=False),
        sa.Column("at", BIG, nullable=False),
        sa.Column("batch", BIG, nullable=False),
        sa.Column("lowest", sa.Double, nullable=False),
        sa.Column("highest", sa.Double, nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("series", "at", "batch"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "reading_block",
        sa.Column("series", sa.Integer, nullable=False),
        sa.Column("day", BIG, nullable=False),
        sa.Column("batch", BIG, nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("series", "day", "batch"),
    )
