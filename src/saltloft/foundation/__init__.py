"""Words every layer shares: errors, units, sources, bands.

May import: the standard library only. Read `errors.py` first.
"""
