"""The tables: those that are kept for ever, and those that are built from the journal.

`KEPT` (journal, readings, secrets, attachments) is migrated by adding only.
`BUILT` is dropped and rebuilt when `BUILT_VERSION` changes. `SCRATCH` (kept
results and work items) may be emptied at any time.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Double,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
)

# 64 bits everywhere; SQLite's INTEGER already has them.
Big = BigInteger().with_variant(Integer(), "sqlite")

KEPT = MetaData()
BUILT = MetaData()
SCRATCH = MetaData()

# Raise it whenever a table of BUILT, or what fills it, changes.
BUILT_VERSION = "1"

journal = Table(
    "journal",
    KEPT,
    Column("seq", Big, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False, unique=True),
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("happened_at", Text, nullable=False),
    Column("recorded_at", Text, nullable=False),
    Column("person", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("previous_hash", Text, nullable=False),
    Column("hash", Text, nullable=False),
    Index("journal_subject", "subject", "seq"),
    Index("journal_kind", "kind", "seq"),
)

series = Table(
    "series",
    KEPT,
    Column("number", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
)

batch_number = Table(
    "batch_number",
    KEPT,
    Column("number", Integer, primary_key=True),
    Column("batch", Text, nullable=False, unique=True),
)

reading = Table(
    "reading",
    KEPT,
    Column("series", Integer, nullable=False),
    Column("at", Big, nullable=False),  # seconds since 1970, UTC
    Column("batch", Big, nullable=False),
    Column("value", Double, nullable=False),
    PrimaryKeyConstraint("series", "at", "batch"),
    sqlite_with_rowid=False,
)

person_secret = Table(
    "person_secret",
    KEPT,
    Column("person", Text, primary_key=True),
    Column("name", Text, nullable=False, server_default=""),
    Column("pin_hash", Text, nullable=False, server_default=""),
    Column("tries", Integer, nullable=False, server_default="0"),
    Column("locked_until", Text, nullable=False, server_default=""),
)

contact = Table(
    "contact",
    KEPT,
    Column("contact", Text, primary_key=True),
    Column("role", Text, nullable=False),  # customer or supplier
    Column("name", Text, nullable=False),
    Column("address", Text, nullable=False, server_default=""),
)

sign_in_link = Table(
    "sign_in_link",
    KEPT,
    Column("token_hash", Text, primary_key=True),
    Column("person", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("expires_at", Text, nullable=False),
    Column("used_at", Text, nullable=False, server_default=""),
)

session = Table(
    "session",
    KEPT,
    Column("token_hash", Text, primary_key=True),
    Column("person", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("csrf", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("expires_at", Text, nullable=False),
    Column("ended_at", Text, nullable=False, server_default=""),
)

device_token = Table(
    "device_token",
    KEPT,
    Column("token_hash", Text, primary_key=True),
    Column("device", Text, nullable=False),
    Column("scope", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("revoked_at", Text, nullable=False, server_default=""),
)

attachment = Table(
    "attachment",
    KEPT,
    Column("digest", Text, primary_key=True),
    Column("file_name", Text, nullable=False),
    Column("media_type", Text, nullable=False),
    Column("bytes", Big, nullable=False),
    Column("added_at", Text, nullable=False),
)

built = Table(
    "built",
    BUILT,
    Column("version", Text, primary_key=True),
)

lot_now = Table(
    "lot_now",
    BUILT,
    Column("lot", Text, primary_key=True),
    Column("family", Text, nullable=False),
    Column("product", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("room", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("hung_at", Text, nullable=False),
    Column("green_mg", Big, nullable=False),
    Column("pieces", Integer, nullable=False),
    Column("open_holds", Integer, nullable=False),
    Column("last_seq", Big, nullable=False),
    Index("lot_now_made", "family", "made_at"),
)

lot_room = Table(
    "lot_room",
    BUILT,
    Column("lot", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("room", Text, nullable=False),
    Column("start_at", Text, nullable=False),
    Column("end_at", Text, nullable=False),  # empty while it hangs there
    Column("share_ppm", Integer, nullable=False),
    PrimaryKeyConstraint("lot", "number"),
    Index("lot_room_room", "room", "end_at"),
)

lot_link = Table(
    "lot_link",
    BUILT,
    Column("lot", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("source", Text, nullable=False),
    Column("ingredient", Text, nullable=False),
    Column("mg", Big, nullable=False),
    Column("entry_id", Text, nullable=False),
    PrimaryKeyConstraint("lot", "number"),
    Index("lot_link_source", "source"),
)

batch_now = Table(
    "batch_now",
    BUILT,
    Column("batch", Text, primary_key=True),
    Column("number", Integer, nullable=False, unique=True),
    Column("file_digest", Text, nullable=False),
    Column("seq", Big, nullable=False),
    Column("voided_by", Text, nullable=False),  # empty while it counts
    Index("batch_now_file", "file_digest"),
)

kept_result = Table(
    "kept_result",
    SCRATCH,
    Column("key", Text, primary_key=True),
    Column("sort", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Index("kept_result_subject", "sort", "subject", "made_at"),
)

work_item = Table(
    "work_item",
    SCRATCH,
    Column("number", Integer, primary_key=True),
    Column("sort", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("body", Text, nullable=False, server_default="{}"),
    Column("state", Text, nullable=False),  # waiting, running, done, failed
    Column("made_at", Text, nullable=False),
    Column("taken_at", Text, nullable=False, server_default=""),
    Column("ended_at", Text, nullable=False, server_default=""),
    Column("tries", Integer, nullable=False, server_default="0"),
    Column("words", Text, nullable=False, server_default=""),
    Index("work_item_state", "state", "number"),
)
