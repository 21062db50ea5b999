"""Everything one lot's page lays out, with its last kept forecast: a page computes none itself."""

from __future__ import annotations

from saltloft.cases.lot_folder import lot_folder
from saltloft.house import House
from saltloft.jobs import judge, queue
from saltloft.plant.folder import LotFolder


def folder_of(house: House, lot: str) -> LotFolder:
    """The folder of one lot as of now.

    Raises:
        UnknownName: no such lot, with the nearest names.
    """
    at = house.now()
    return lot_folder(house, lot, at, queue.outlook(house, lot), judge.judge(house, lot, at))
