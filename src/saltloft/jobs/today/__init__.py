"""The morning: what worries me, what is due, what is ready, what to make.

Each item is computed from a `cases.house_day.HouseDay` and carries the entry
ids, batch ids and fact keys of every number in it.
"""

from saltloft.jobs.today.sheet import day_sheet, moment_of, yield_csv

__all__ = ["day_sheet", "moment_of", "yield_csv"]
