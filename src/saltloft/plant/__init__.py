"""The house's own things and what people state about them.

One frozen dataclass per kind of journal entry, beside the record it builds up.
May import `foundation`, `science`, `process`. Read `entries.py` first.
"""
