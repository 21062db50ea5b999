"""Keeping it: the journal, the readings, the reading tables, secrets and attachments.

The only layer that speaks SQL. May import `plant` and what lies above it. Read
`journal.py` first, then `shelves.py` (the whole of the reading side):

    store = Store.open(path)            # store/open.py: migrates when new, refuses a newer database
    store.journal.head()                # JournalHead(seq, hash, recorded_at)
    store.lots.get("AL-0310")           # LotRecord; asof=moment: as known then
    store.lots.all(asof=None)           # every LotRecord, by made_at; family="ham" for one family
    store.lots.summaries()              # LotSummary rows, quick
    store.rooms.get("D2").set_at(now)   # RoomRecord; .all()
    store.instruments.get("pH-A").check_state(now)
    store.products.get / .all, store.recipes.get / .all, store.stock.get / .all
    store.people.get / .all, store.checks.all(start, end), store.documents.all(), store.confirmations.all()
    store.house()                       # Stated[HouseSetUp]
    store.readings.trace("D2", "temperature_c", start, end)   # (times, values) of what counts
    store.readings.seal(columns, info, stamp, entry_id)  # one commit;
                                        # columns {"D2/temperature_c": (times, values)}
                                        # of int64 s UTC, float64; info: ReadingsSealed, rows 0, digest ""
    store.readings.void(batch, reason, stamp, entry_id), .get(batch), .all(), .by_file(digest)
    store.readings.latest("D2", "rh_pct", before)
    store.kept.get(key) / .put(...), store.work.add / .take / .done
    store.secrets..., store.attachments.put(bytes) / .get(digest)
"""
