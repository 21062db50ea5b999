"""An index by subject and kind: what an entry needs of a lot is found without reading its weighings."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the index."""
    op.create_index("journal_subject_kind", "journal", ["subject", "kind", "seq"])
