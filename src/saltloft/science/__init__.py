"""Equations of nature as pure functions of numbers: no facts, no state, no files.

May import: foundation. Arguments may be numbers or arrays that broadcast;
constants come in as small frozen dataclasses, built elsewhere from fact rows.
Read `moist_air.py` first: every other module has its form.
"""
