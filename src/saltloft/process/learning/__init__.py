"""Learning of one lot from weighings, water activity, moisture and diameters; slips found by name.

Reads: observations (what was read), lanes (slopes of the model), fit (best point), members (draws
moved), faults, swaps, scales (slips). Start with learn.py.
"""

from saltloft.process.learning.columns import COLUMNS, Likelihood, LinearModel, LotPrior
from saltloft.process.learning.errors import ErrorBlocks
from saltloft.process.learning.faults import Fault
from saltloft.process.learning.learn import Learned, learn
from saltloft.process.learning.observations import Measured, Weighing

__all__ = [
    "COLUMNS",
    "ErrorBlocks",
    "Fault",
    "Learned",
    "Likelihood",
    "LinearModel",
    "LotPrior",
    "Measured",
    "Weighing",
    "learn",
]
