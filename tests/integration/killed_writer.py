"""Enters weighings until it is killed, sending the id of each only after it was acknowledged."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from multiprocessing.connection import Connection

from tests.small_house import MADE_AT, weighing

from saltloft.house import House
from saltloft.jobs import record
from saltloft.plant.stated import Draft, Stamp

PHONES = 4


def enter_until_killed(folder: str, answers: Connection) -> None:
    """Four phones, entry after entry, each answer sent on as soon as it is there."""
    house = House.open(folder, environment={})
    lock = threading.Lock()

    def phone(number: int) -> None:
        by = Stamp("besnik", f"phone-{number}", datetime(2026, 11, 3, 6, tzinfo=UTC))
        for step in range(1_000_000):
            draft = Draft(
                house.new_id(), weighing("1.00", tag=f"{number}"), MADE_AT + timedelta(seconds=step)
            )
            receipt = record.enter(house, by, [draft])[0]
            with lock:
                answers.send((receipt.entry_id, receipt.status))

    for number in range(PHONES):
        threading.Thread(target=phone, args=(number,), daemon=True).start()
    threading.Event().wait()
