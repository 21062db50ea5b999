"""The worker process: forecasts, day sheets and drawings, one item after the other, and the backups.

Started by `saltloft serve`. It reads on in the journal, so nobody has to tell
it what changed. When nothing waits it draws charts nobody asked for yet. A
thread beside it listens for live values.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType

import structlog

from saltloft.cases.open_house import OpenHouse
from saltloft.foundation.errors import SaltloftError
from saltloft.foundation.words import LANGUAGE
from saltloft.house import House
from saltloft.jobs import forecast, hand, insight, judge, keep, live, queue, today, upkeep
from saltloft.papers.screen import drawings
from saltloft.plant.answers import LotOutlook

IDLE_S = 0.4
# How often it is asked whether a backup or a drill is due.
LOOK_S = 60.0
# Computing gives way to taking entries: the web process goes before on a crowded machine.
NICE = 3
# Lots of the past that one round may forecast once the day is kept, so that their cuts teach the next.
MOST_PAST = 2
log = structlog.get_logger("saltloft.worker")


def wall() -> datetime:
    """The computer's clock: items and kept results are timed by it, also in the demo house."""
    return datetime.now(UTC)


def compute_lot(house: OpenHouse, lot: str, _: Mapping[str, str]) -> None:
    """Forecast one lot; kept under what it rests on, so a second time costs nothing."""
    forecast.forecast(house, lot)
    after = [(queue.DRAW, lot), (queue.DAY, queue.DAY_SUBJECT), (queue.EXPLAIN, lot)]
    house.store.work.add_all(after, wall())


def explain_lot(house: OpenHouse, lot: str, _: Mapping[str, str]) -> None:
    """Tell why the lot's ready day moved, what its readings taught, and what to weigh next."""
    outlook = forecast.kept_outlook(house, lot)
    if outlook is not None:
        insight.update(house, outlook, wall())


def compute_day(house: OpenHouse, _: str, __: Mapping[str, str]) -> None:
    """Make the day sheet in every language somebody reads."""
    outlooks = kept_outlooks(house)
    hand.learn(house)
    for language in queue.languages(house):
        token = LANGUAGE.set(language)
        try:
            judgements = judge.judge_many(house, outlooks)
            queue.keep_day(house, language, today.day_sheet(house, house.now(), outlooks, judgements), wall())
        finally:
            LANGUAGE.reset(token)
    forecast.catch_up(house, MOST_PAST)


def kept_outlooks(house: OpenHouse) -> dict[str, LotOutlook]:
    """The last forecast of every hanging lot; items of their own bring them up to date."""
    found = {}
    for lot in queue.forecast_lots(house):
        outlook = queue.outlook(house, lot) or _first_outlook(house, lot)
        if outlook is not None:
            found[lot] = outlook
    return found


def _first_outlook(house: OpenHouse, lot: str) -> LotOutlook | None:
    try:
        return forecast.forecast(house, lot)
    except SaltloftError:
        return None


def draw_lot(house: OpenHouse, lot: str, _: Mapping[str, str]) -> None:
    """Draw one lot's charts in every language somebody reads."""
    outlook = forecast.kept_outlook(house, lot)
    if outlook is None:
        return
    for language in queue.languages(house):
        token = LANGUAGE.set(language)
        try:
            for name, svg in drawings(outlook).items():
                queue.keep_drawing(house, queue.drawing_key(outlook.key, name, language), lot, svg, wall())
        finally:
            LANGUAGE.reset(token)


def give_way() -> None:
    """Let the web process go before, also where Linux shares the processor among sessions first."""
    os.nice(NICE)
    with suppress(OSError):
        Path("/proc/self/autogroup").write_text(str(NICE), encoding="ascii")


def back_up(house: House) -> None:
    """Make the backup that is due and let go of those the house's rule does not keep."""
    done = keep.backup(house)
    gone = upkeep.drop_outdated(house)
    log.info("backed up", file=done.path.name, dropped=len(gone))


def look_after(house: House) -> None:
    """Say that the worker lives, and do what is due; what fails is noted for `doctor` and tried again."""
    upkeep.seen(house, wall())
    due = upkeep.due(house, wall())
    try:
        if due.backup:
            back_up(house)
        if due.drill:
            log.info("restore drill", file=upkeep.drill(house).path.name)
    except SaltloftError as error:
        log.error("looking after the house failed", error=error.message)


def listening(house: House, listener: live.Listener | None) -> live.Listener:
    """The listener for live values; one that died is replaced."""
    if listener is None or not listener.alive():
        listener = live.Listener(house, os.environ)
        listener.start()
    return listener


HANDLERS: dict[str, queue.Handler] = {
    queue.FORECAST: compute_lot,
    queue.DAY: compute_day,
    queue.DRAW: draw_lot,
    queue.EXPLAIN: explain_lot,
}


def main() -> None:
    """Work until told to stop."""
    stopping = False

    def stop(_signal: int, _frame: FrameType | None) -> None:
        nonlocal stopping
        stopping = True

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    give_way()
    with House.open(os.environ["SALTLOFT_HOUSE"]) as house:
        log.info("worker started", house=house.name, taken_over=queue.recover(house))
        looked, listener = float("-inf"), listening(house, None)
        while not stopping:
            queue.notice(house, wall())
            if time.monotonic() - looked >= LOOK_S:
                looked = time.monotonic()
                look_after(house)
                listener = listening(house, listener)
            try:
                item = queue.work_once(house, HANDLERS, wall())
            except Exception as error:
                log.error("item failed, taken again", error=repr(error))
                item = None
            if item is None:
                time.sleep(IDLE_S)
        listener.stop()


if __name__ == "__main__":
    main()
