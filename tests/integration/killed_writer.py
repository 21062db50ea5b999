"""Enters weighings, moves, holds and lots until it is killed; an id is sent only once it was acknowledged."""

from __future__ import annotations

import threading
from datetime import timedelta
from multiprocessing.connection import Connection
from typing import Any

from tests.small_house import MADE_AT, NOW, weighing

from saltloft.foundation.units import mass
from saltloft.house import House
from saltloft.jobs import record
from saltloft.plant.lots import FreshMade, LotHeld, LotMoved
from saltloft.plant.stated import Draft, Stamp

PHONES = 4


def stated(phone: int, step: int, fresh: str) -> Any:
    """What a phone states at one step: mostly a weight, now and then what changes more rows."""
    if step % 8 == 3:
        return LotMoved("AL-0310", "F2" if step % 16 == 3 else "D2")
    if step % 16 == 6:
        return LotHeld("AL-0310", f"phone {phone} saw mould")
    if step % 32 == 12:
        return FreshMade(f"BR-{fresh[-12:]}", "bramble", "alder-1", (), mass("60", "kg"))
    return weighing("1.00", tag=f"{phone}")


def enter_until_killed(folder: str, answers: Connection) -> None:
    """Four phones, entry after entry, each answer sent on as soon as it is there."""
    house = House.open(folder, clock=lambda: NOW, environment={})
    lock = threading.Lock()

    def phone(number: int) -> None:
        by = Stamp("maren", f"phone-{number}", NOW)
        for step in range(1_000_000):
            entry = house.new_id()
            draft = Draft(entry, stated(number, step, entry), MADE_AT + timedelta(seconds=step))
            receipt = record.enter(house, by, [draft])[0]
            with lock:
                answers.send((receipt.entry_id, receipt.status))

    for number in range(PHONES):
        threading.Thread(target=phone, args=(number,), daemon=True).start()
    threading.Event().wait()
