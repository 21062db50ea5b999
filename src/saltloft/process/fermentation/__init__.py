"""Fermentation: temperature of core and rim, starter, acid, pH, and what grows meanwhile.

Read `model.py` (the equations), then `members.py` (the doubt), `learning.py`
(readings), `forecast.py` (the answer). Constants come in as arguments.
"""
