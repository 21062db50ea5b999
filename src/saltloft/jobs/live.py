"""Listening to a broker for live values, in a thread of the worker.

    listener = Listener(house, os.environ)
    listener.start()      # False when no broker is set
    listener.alive()      # the worker starts one that died again
    listener.stop()

The broker keeps a session for the house and forgets a value only when it was
told that the value is on disk: what comes while nobody listens waits there.
"""

from __future__ import annotations

import asyncio
import ssl
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

import aiomqtt
import structlog

from saltloft.cases.live_intake import Intake, LiveHouse
from saltloft.foundation.errors import InputError, SaltloftError
from saltloft.foundation.words import say
from saltloft.plant.live_status import LiveStatus
from saltloft.plant.live_values import read_topics
from saltloft.store.upkeep import LIVE

PASSWORD_VARIABLE = "SALTLOFT_MQTT_PASSWORD"
# A broker that does not answer must not keep the worker from ending.
STOP_S = 2.0
# After connecting, more than so many values a second are taken for what the broker kept.
THICK_PER_S = 20.0
COUNT_S = 0.5
SEAL_MINUTES = (1, 5, 10, 15, 30, 60)
log = structlog.get_logger("saltloft.live")


@dataclass(frozen=True)
class Pace:
    """How fast the listening goes.

    Args:
        tick_s: float. How often it looks whether to stop or to seal. [s]
        settle_s: float. After connecting, values without a time of their own may be what the broker kept,
            so for so long they are refused; while values come thickly, it lasts longer. [s]
        note_s: float. How often its state is noted. [s]
        first_wait_s, most_wait_s: float. Before connecting again; twice as long each time. [s]
        timeout_s: float. The broker answers within. [s]
    """

    tick_s: float = 1.0
    settle_s: float = 10.0
    note_s: float = 30.0
    first_wait_s: float = 1.0
    most_wait_s: float = 60.0
    timeout_s: float = 10.0


@dataclass(frozen=True)
class Broker:
    """Where the broker is, and who we are there; the password is never printed.

    Args:
        host: str.
        port: int.
        user: str. Empty: nobody signs in.
        password: str.
        client: str. Under which it keeps a session.
        tls: SSLContext or None. None: in the clear.
        filters: tuple of str. What is subscribed to.
    """

    host: str
    port: int
    user: str
    password: str
    client: str
    tls: ssl.SSLContext | None
    filters: tuple[str, ...]

    def __repr__(self) -> str:
        return f"Broker({self.host!r}, {self.port}, {self.user!r})"


def read_broker(house: LiveHouse, environment: Mapping[str, str]) -> tuple[Broker, Intake]:
    """What the house's settings say about the broker, and where its values go.

    Args:
        house: LiveHouse.
        environment: mapping. For the password.

    Raises:
        InputError: a topic, the password, the authority or the stretch cannot be taken.
    """
    settings = house.settings
    topics = read_topics(settings.text("mqtt_topics"), {record.room for record in house.store.rooms.all()})
    if not topics:
        raise InputError(
            say("mqtt_topics names no topic"),
            do=say("write 'TOPIC ROOM/temperature_c' lines in house.toml"),
            key="mqtt_topics",
        )
    minutes = settings.number("mqtt_seal_minutes")
    if minutes not in SEAL_MINUTES:
        allowed = ", ".join(map(str, SEAL_MINUTES))
        raise InputError(
            say("live values are not sealed so"), got=str(minutes), allowed=allowed, key="mqtt_seal_minutes"
        )
    further = settings.text("mqtt_filter")
    broker = Broker(
        settings.text("mqtt_host"),
        settings.number("mqtt_port"),
        settings.text("mqtt_user"),
        _password(house, environment),
        settings.text("mqtt_client"),
        _tls(house),
        # One filter that holds everything, or the topics: a broker may send twice what two filters hold.
        tuple(topics) if not further else (*_beside(topics, further), further),
    )
    return broker, Intake(house, topics, minutes * 60)


def _beside(topics: Mapping[str, str], further: str) -> list[str]:
    try:
        aiomqtt.Wildcard(further)
    except ValueError:
        raise InputError(
            say("mqtt_filter is no filter"), got=further, allowed="house/#, house/+/temp", key="mqtt_filter"
        ) from None
    return [topic for topic in topics if not aiomqtt.Topic(topic).matches(further)]


def _password(house: LiveHouse, environment: Mapping[str, str]) -> str:
    named = house.settings.text("mqtt_password_file")
    if not named:
        return environment.get(PASSWORD_VARIABLE, "")
    path = house.folder / named
    try:
        if path.stat().st_mode & 0o077:
            raise InputError(
                say("the file with the broker's password can be read by others"),
                got=str(path),
                allowed=say("mode 600"),
                do=say("run: chmod 600 {file}, and change the password", file=path.name),
                key="mqtt_password_file",
            )
        return path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        raise InputError(
            say("the file with the broker's password cannot be read"), got=str(path), key="mqtt_password_file"
        ) from None


def _tls(house: LiveHouse) -> ssl.SSLContext | None:
    if not house.settings.flag("mqtt_tls"):
        return None
    named = house.settings.text("mqtt_ca_file")
    try:
        return ssl.create_default_context(cafile=str(house.folder / named) if named else None)
    except (OSError, ssl.SSLError):
        raise InputError(
            say("the authority's certificate for the broker cannot be read"),
            got=str(house.folder / named),
            allowed=say("a PEM file"),
            key="mqtt_ca_file",
        ) from None


class Listener:
    """The thread that listens.

    Args:
        house: LiveHouse.
        environment: mapping. For the password.
        pace: Pace.
        monotonic: callable() -> float. [s]
    """

    def __init__(
        self,
        house: LiveHouse,
        environment: Mapping[str, str],
        pace: Pace | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.house = house
        self.environment = environment
        self.pace = pace or Pace()
        self.monotonic = monotonic
        self.intake: Intake | None = None
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._status = LiveStatus(house.now(), house.now(), False, say("it was not tried yet"))
        self._noted = float("-inf")
        self._settled_at = 0.0
        self._arrived, self._counted_at = 0, 0.0

    def start(self) -> bool:
        """Begin to listen; False when the house names no broker, or its clock stands still."""
        if not self.house.settings.text("mqtt_host") or self.house.settings.text("demo_now"):
            return False
        self._thread = threading.Thread(target=self._run, name="live values", daemon=True)
        self._thread.start()
        return True

    def alive(self) -> bool:
        """False when it was started and died; the worker starts it again."""
        return self._thread is None or self._thread.is_alive()

    def stop(self) -> None:
        """End it; what was taken and not sealed waits on disk."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(STOP_S)

    def _run(self) -> None:
        asyncio.run(self._listen())

    async def _listen(self) -> None:
        """Connect, listen, and connect again, until told to stop."""
        wait = self.pace.first_wait_s
        while not self._stopping.is_set():
            began = self.monotonic()
            try:
                broker, self.intake = self._ready()
                await self._connected(broker, self.intake)
            except SaltloftError as error:
                self._lost(error.message)
            except (aiomqtt.MqttError, OSError) as error:
                self._lost(say("the broker said: {what}", what=_reason(error)))
            except Exception as error:
                # Whatever broke, the values wait at the broker: say so, and try again.
                log.error("listening broke off", error=repr(error))
                self._lost(say("a fault of the program: {what}", what=type(error).__name__))
            if self.monotonic() - began > self.pace.most_wait_s:
                wait = self.pace.first_wait_s
            await self._rest(wait)
            wait = min(2.0 * wait, self.pace.most_wait_s)

    def _ready(self) -> tuple[Broker, Intake]:
        """Rooms and password read anew each time; the counts stay."""
        broker, fresh = read_broker(self.house, self.environment)
        return broker, self.intake or fresh

    async def _connected(self, broker: Broker, intake: Intake) -> None:
        """One connection, until it ends or we are told to stop."""
        listener = self

        class OnDisk(asyncio.Queue[aiomqtt.Message]):
            """Takes a value before the broker is told that it arrived; nothing waits in memory."""

            def put_nowait(self, item: aiomqtt.Message) -> None:
                listener._take(intake, item)

        self._counted_at = self.monotonic()
        self._settled_at = self._counted_at + self.pace.settle_s
        async with aiomqtt.Client(
            broker.host,
            broker.port,
            username=broker.user or None,
            password=broker.password or None,
            identifier=broker.client,
            clean_session=False,
            tls_context=broker.tls,
            queue_type=OnDisk,
            timeout=self.pace.timeout_s,
        ) as client:
            granted = await client.subscribe([(name, 1) for name in broker.filters])
            self._refused_filters(broker.filters, granted)
            self._change(connected=True, why="")
            while not self._stopping.is_set():
                # Nothing is ever in the queue: this waits for the end of the connection.
                with suppress(TimeoutError):
                    await asyncio.wait_for(anext(client.messages), self.pace.tick_s)
                self._settle()
                self._tend(intake)

    def _settle(self) -> None:
        """Take it that the broker still hands out what it kept while values come thickly."""
        now = self.monotonic()
        elapsed = now - self._counted_at
        if elapsed < COUNT_S:
            return
        if now < self._settled_at and self._arrived >= THICK_PER_S * elapsed:
            self._settled_at = max(self._settled_at, now + self.pace.settle_s / 2.0)
        self._arrived, self._counted_at = 0, now

    def _refused_filters(self, filters: tuple[str, ...], granted: object) -> None:
        codes = list(granted) if isinstance(granted, list | tuple) else []
        values = [code if isinstance(code, int) else getattr(code, "value", 128) for code in codes]
        refused = [name for name, value in zip(filters, values, strict=False) if value >= 128]
        if refused:
            raise InputError(
                say("the broker does not let the house read a topic"),
                got=", ".join(refused),
                do=say("give {user} the right to read it", user=self.house.settings.text("mqtt_user")),
            )

    def _take(self, intake: Intake, message: aiomqtt.Message) -> None:
        now = self.monotonic()
        fresh = now >= self._settled_at and not message.retain
        self._arrived += 1
        payload = message.payload if isinstance(message.payload, bytes) else str(message.payload).encode()
        intake.take(str(message.topic), payload, fresh=fresh)

    def _tend(self, intake: Intake) -> None:
        """Seal what is due, and note how it stands."""
        try:
            intake.seal_due()
        except SaltloftError as error:
            log.error("live values could not be sealed, tried again", error=error.message)
        if self.monotonic() - self._noted >= self.pace.note_s:
            self._note()

    async def _rest(self, seconds: float) -> None:
        until = self.monotonic() + seconds
        while not self._stopping.is_set() and self.monotonic() < until:
            await asyncio.sleep(min(self.pace.tick_s, seconds))
            if self.intake is not None:
                self._tend(self.intake)

    def _lost(self, why: str) -> None:
        if self._status.connected or self._status.why != why:
            log.warning("not listening for live values", why=why)
        self._change(connected=False, why=why)

    def _change(self, *, connected: bool, why: str) -> None:
        since = self.house.now() if connected != self._status.connected else self._status.since
        self._status = replace(self._status, since=since, connected=connected, why=why)
        if connected:
            log.info("listening for live values")
        self._note()

    def _note(self) -> None:
        intake = self.intake
        if intake is not None:
            self._status = replace(
                self._status,
                taken=intake.taken,
                waiting=len(intake.pending),
                refused=dict(intake.refused),
                last=intake.last,
            )
        self._status = replace(self._status, heard=self.house.now())
        self._noted = self.monotonic()
        try:
            self.house.store.upkeep.note(
                LIVE, self._status.since, self._status.to_text(), good=self._status.connected
            )
        except SaltloftError as error:
            log.error("how the listening stands could not be noted", error=error.message)


def _reason(error: BaseException) -> str:
    """What went wrong, in the library's words, with its cause."""
    cause = error.__cause__
    return f"{error} ({cause})" if cause is not None and str(cause) not in str(error) else str(error)
