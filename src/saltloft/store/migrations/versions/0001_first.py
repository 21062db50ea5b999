"""The first tables: journal, readings, secrets, attachments."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# The variants say the same on PostgreSQL as SQLite does of itself.
WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Add the tables."""
    _journal()
    _readings()
    _people()
    _files()
    _only_added_to()


def _only_added_to() -> None:
    """The database itself refuses to change a journal or reading row."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    if not sqlite:
        op.execute(
            "CREATE FUNCTION never_changed() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION '% is never changed, only added to', TG_TABLE_NAME "
            "USING ERRCODE = 'restrict_violation'; END $$"
        )
    for table in ("journal", "reading"):
        for deed in ("UPDATE", "DELETE") if sqlite else ("UPDATE", "DELETE", "TRUNCATE"):
            when = f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} "
            if sqlite:
                op.execute(f"{when}BEGIN SELECT RAISE(ABORT, '{table} is never changed, only added to'); END")
            else:
                op.execute(f"{when}FOR EACH STATEMENT EXECUTE FUNCTION never_changed()")


def _text(name: str, *, key: bool = False, default: str | None = None) -> sa.Column[str]:
    return sa.Column(name, WORDS, primary_key=key, nullable=False, server_default=default)


def _journal() -> None:
    op.create_table(
        "journal",
        sa.Column("seq", BIG, primary_key=True, autoincrement=False),
        sa.Column("id", WORDS, nullable=False, unique=True),
        _text("kind"),
        _text("subject"),
        sa.Column("body", sa.LargeBinary, nullable=False),
        _text("happened_at"),
        _text("recorded_at"),
        _text("person"),
        _text("device"),
        _text("previous_hash"),
        _text("hash"),
    )
    op.create_index("journal_subject", "journal", ["subject", "seq"])
    op.create_index("journal_kind", "journal", ["kind", "seq"])


def _readings() -> None:
    op.create_table(
        "series",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("name", WORDS, nullable=False, unique=True),
    )
    op.create_table(
        "batch_number",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("batch", WORDS, nullable=False, unique=True),
    )
    op.create_table(
        "reading",
        sa.Column("series", sa.Integer, nullable=False),
        sa.Column("at", BIG, nullable=False),
        sa.Column("batch", BIG, nullable=False),
        sa.Column("value", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("series", "at", "batch"),
        sqlite_with_rowid=False,
    )


def _people() -> None:
    op.create_table(
        "person_secret",
        _text("person", key=True),
        _text("name", default=""),
        _text("pin_hash", default=""),
        sa.Column("tries", sa.Integer, nullable=False, server_default="0"),
        _text("locked_until", default=""),
    )
    op.create_table(
        "contact", _text("contact", key=True), _text("role"), _text("name"), _text("address", default="")
    )
    op.create_table(
        "sign_in_link",
        _text("token_hash", key=True),
        _text("person"),
        _text("made_at"),
        _text("expires_at"),
        _text("used_at", default=""),
    )
    op.create_table(
        "session",
        _text("token_hash", key=True),
        _text("person"),
        _text("device"),
        _text("csrf"),
        _text("made_at"),
        _text("expires_at"),
        _text("ended_at", default=""),
    )
    op.create_table(
        "device_token",
        _text("token_hash", key=True),
        _text("device"),
        _text("scope"),
        _text("made_at"),
        _text("revoked_at", default=""),
    )


def _files() -> None:
    op.create_table(
        "attachment",
        _text("digest", key=True),
        _text("file_name"),
        _text("media_type"),
        sa.Column("bytes", BIG, nullable=False),
        _text("added_at"),
    )
