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

# Text that sorts by its bytes on both databases; moments and names are compared as text.
Words = Text().with_variant(Text(collation="C"), "postgresql")

# 64 bits everywhere; SQLite's INTEGER already has them.
Big = BigInteger().with_variant(Integer(), "sqlite")

KEPT = MetaData()
BUILT = MetaData()
SCRATCH = MetaData()

# Raise it whenever a table of BUILT, or what fills it, changes.
BUILT_VERSION = "2"

journal = Table(
    "journal",
    KEPT,
    Column("seq", Big, primary_key=True, autoincrement=False),
    Column("id", Words, nullable=False, unique=True),
    Column("kind", Words, nullable=False),
    Column("subject", Words, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("happened_at", Words, nullable=False),
    Column("recorded_at", Words, nullable=False),
    Column("person", Words, nullable=False),
    Column("device", Words, nullable=False),
    Column("previous_hash", Words, nullable=False),
    Column("hash", Words, nullable=False),
    Index("journal_subject", "subject", "seq"),
    Index("journal_subject_kind", "subject", "kind", "seq"),
    Index("journal_kind", "kind", "seq"),
)

series = Table(
    "series",
    KEPT,
    Column("number", Integer, primary_key=True),
    Column("name", Words, nullable=False, unique=True),
)

batch_number = Table(
    "batch_number",
    KEPT,
    Column("number", Integer, primary_key=True),
    Column("batch", Words, nullable=False, unique=True),
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

# Beside the mean of a live minute, which stands in `reading`.
reading_minute = Table(
    "reading_minute",
    KEPT,
    Column("series", Integer, nullable=False),
    Column("at", Big, nullable=False),
    Column("batch", Big, nullable=False),
    Column("lowest", Double, nullable=False),
    Column("highest", Double, nullable=False),
    Column("size", Integer, nullable=False),
    PrimaryKeyConstraint("series", "at", "batch"),
    sqlite_with_rowid=False,
)

# Live values as they came, compressed: those of one series, day and batch.
reading_block = Table(
    "reading_block",
    KEPT,
    Column("series", Integer, nullable=False),
    Column("day", Big, nullable=False),  # midnight UTC, seconds since 1970
    Column("batch", Big, nullable=False),
    Column("size", Integer, nullable=False),
    Column("body", LargeBinary, nullable=False),
    PrimaryKeyConstraint("series", "day", "batch"),
)

# When the house was last backed up, its restore tried, its head sent out.
upkeep = Table(
    "upkeep",
    KEPT,
    Column("sort", Words, primary_key=True),
    Column("at", Words, nullable=False),
    Column("good", Integer, nullable=False),
    Column("words", Words, nullable=False),
)

person_secret = Table(
    "person_secret",
    KEPT,
    Column("person", Words, primary_key=True),
    Column("name", Words, nullable=False, server_default=""),
    Column("pin_hash", Words, nullable=False, server_default=""),
    Column("tries", Integer, nullable=False, server_default="0"),
    Column("locked_until", Words, nullable=False, server_default=""),
)

contact = Table(
    "contact",
    KEPT,
    Column("contact", Words, primary_key=True),
    Column("role", Words, nullable=False),  # customer or supplier
    Column("name", Words, nullable=False),
    Column("address", Words, nullable=False, server_default=""),
)

sign_in_link = Table(
    "sign_in_link",
    KEPT,
    Column("token_hash", Words, primary_key=True),
    Column("person", Words, nullable=False),
    Column("made_at", Words, nullable=False),
    Column("expires_at", Words, nullable=False),
    Column("used_at", Words, nullable=False, server_default=""),
)

session = Table(
    "session",
    KEPT,
    Column("token_hash", Words, primary_key=True),
    Column("person", Words, nullable=False),
    Column("device", Words, nullable=False),
    Column("csrf", Words, nullable=False),
    Column("made_at", Words, nullable=False),
    Column("expires_at", Words, nullable=False),
    Column("ended_at", Words, nullable=False, server_default=""),
)

device_token = Table(
    "device_token",
    KEPT,
    Column("token_hash", Words, primary_key=True),
    Column("device", Words, nullable=False),
    Column("scope", Words, nullable=False),
    Column("made_at", Words, nullable=False),
    Column("revoked_at", Words, nullable=False, server_default=""),
)

enrol_code = Table(
    "enrol_code",
    KEPT,
    Column("token_hash", Words, primary_key=True),
    Column("device", Words, nullable=False),
    Column("label", Words, nullable=False),
    Column("scope", Words, nullable=False),
    Column("made_by", Words, nullable=False),
    Column("made_at", Words, nullable=False),
    Column("expires_at", Words, nullable=False),
    Column("used_at", Words, nullable=False, server_default=""),
)

device_state = Table(
    "device_state",
    KEPT,
    Column("device", Words, primary_key=True),
    Column("seen_at", Words, nullable=False, server_default=""),
    Column("offset_ms", Big, nullable=False, server_default="0"),  # the house's clock less the device's
    Column("offset_at", Words, nullable=False, server_default=""),  # empty while it was never measured
    Column("tries", Integer, nullable=False, server_default="0"),  # wrong PINs since `tries_since`
    Column("tries_since", Words, nullable=False, server_default=""),
)

attachment = Table(
    "attachment",
    KEPT,
    Column("digest", Words, primary_key=True),
    Column("file_name", Words, nullable=False),
    Column("media_type", Words, nullable=False),
    Column("bytes", Big, nullable=False),
    Column("added_at", Words, nullable=False),
)

built = Table(
    "built",
    BUILT,
    Column("version", Words, primary_key=True),
)

lot_now = Table(
    "lot_now",
    BUILT,
    Column("lot", Words, primary_key=True),
    Column("family", Words, nullable=False),
    Column("product", Words, nullable=False),
    Column("state", Words, nullable=False),
    Column("room", Words, nullable=False),
    Column("made_at", Words, nullable=False),
    Column("hung_at", Words, nullable=False),
    Column("green_mg", Big, nullable=False),
    Column("pieces", Integer, nullable=False),
    Column("open_holds", Integer, nullable=False),
    Column("last_seq", Big, nullable=False),
    Index("lot_now_made", "family", "made_at"),
)

lot_room = Table(
    "lot_room",
    BUILT,
    Column("lot", Words, nullable=False),
    Column("number", Integer, nullable=False),
    Column("room", Words, nullable=False),
    Column("start_at", Words, nullable=False),
    Column("end_at", Words, nullable=False),  # empty while it hangs there
    Column("share_ppm", Integer, nullable=False),
    PrimaryKeyConstraint("lot", "number"),
    Index("lot_room_room", "room", "end_at"),
)

lot_link = Table(
    "lot_link",
    BUILT,
    Column("lot", Words, nullable=False),
    Column("number", Integer, nullable=False),
    Column("source", Words, nullable=False),
    Column("ingredient", Words, nullable=False),
    Column("mg", Big, nullable=False),
    Column("entry_id", Words, nullable=False),
    Column(
        "sort", Words, nullable=False
    ),  # batch, split, merge, slice, pack, ship, return, sample, waste, ends
    Column("at", Words, nullable=False),
    # The primary key answers 'what went into this lot'.
    PrimaryKeyConstraint("lot", "number"),
    Index("lot_link_source", "source"),
    Index("lot_link_entry", "entry_id"),
)

# Everything that mass is booked on: material lots, lots, slices, pack lots, returns, shipments, sinks.
node_now = Table(
    "node_now",
    BUILT,
    Column("node", Words, primary_key=True),
    Column("sort", Words, nullable=False),  # material, lot, pack, shipment, sink
    Column("product", Words, nullable=False),
    Column("booked_mg", Big, nullable=False),  # received, green, packed, sent
    Column("made_at", Words, nullable=False),
    Column("party", Words, nullable=False),  # supplier or customer
    Column("state", Words, nullable=False),
    # The last count of a material lot, which replaces what the book says; empty before one.
    Column("counted_mg", Big, nullable=False, server_default="0"),
    Column("counted_at", Words, nullable=False, server_default=""),
    # Whose entries made it.
    Column("subject", Words, nullable=False, server_default=""),
    Index("node_now_subject", "subject"),
)

batch_now = Table(
    "batch_now",
    BUILT,
    Column("batch", Words, primary_key=True),
    Column("number", Integer, nullable=False, unique=True),
    Column("file_digest", Words, nullable=False),
    Column("seq", Big, nullable=False),
    Column("voided_by", Words, nullable=False),  # empty while it counts
    Index("batch_now_file", "file_digest"),
)

kept_result = Table(
    "kept_result",
    SCRATCH,
    Column("key", Words, primary_key=True),
    Column("sort", Words, nullable=False),
    Column("subject", Words, nullable=False),
    Column("made_at", Words, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Index("kept_result_subject", "sort", "subject", "made_at"),
)

work_item = Table(
    "work_item",
    SCRATCH,
    Column("number", Integer, primary_key=True),
    Column("sort", Words, nullable=False),
    Column("subject", Words, nullable=False),
    Column("body", Words, nullable=False, server_default="{}"),
    Column("state", Words, nullable=False),  # waiting, running, done, failed
    Column("made_at", Words, nullable=False),
    Column("taken_at", Words, nullable=False, server_default=""),
    Column("ended_at", Words, nullable=False, server_default=""),
    Column("tries", Integer, nullable=False, server_default="0"),
    Column("words", Words, nullable=False, server_default=""),
    Index("work_item_state", "state", "number"),
)
