"""Twenty phones that send one entry after the other to a running house, each at its own beat.

A phone's answer time counts from the moment its entry was due, not from the
moment it could be sent, so a server that falls behind is not spared.
"""

from __future__ import annotations

import asyncio
import json
import time
from dataclasses import dataclass, field

import numpy as np


@dataclass
class Answers:
    """What came back.

    Args:
        statuses: mapping of status to how often.
        seconds: list of float. From due to acknowledged. [s]
    """

    statuses: dict[str, int] = field(default_factory=dict)
    seconds: list[float] = field(default_factory=list)

    def milliseconds(self, percentile: float) -> float:
        """A percentile of the answer times. [ms]"""
        return float(np.percentile(self.seconds, percentile)) * 1e3 if self.seconds else float("nan")


class Phone:
    """One kept-open connection, with its session.

    Args:
        port: int.
        cookie: str.
    """

    def __init__(self, port: int, cookie: str = "") -> None:
        self.port, self.cookie = port, cookie

    async def open(self) -> None:
        """Connect."""
        self._reader, self._writer = await asyncio.open_connection("127.0.0.1", self.port)

    async def post(self, path: str, body: bytes, sort: str) -> tuple[int, dict[str, str], bytes]:
        """One request on the open connection: status, headers and body of the answer."""
        head = (
            f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\nOrigin: http://127.0.0.1:{self.port}\r\n"
            f"Content-Type: {sort}\r\nContent-Length: {len(body)}\r\nCookie: {self.cookie}\r\n\r\n"
        )
        self._writer.write(head.encode() + body)
        lines = (await self._reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
        headers: dict[str, str] = {}
        for line in lines[1:]:
            name, _, value = line.partition(": ")
            name = name.lower()
            headers[name] = f"{headers[name]}\n{value}" if name in headers else value
        content = await self._reader.readexactly(int(headers.get("content-length", "0")))
        return int(lines[0].split()[1]), headers, content

    async def sign_in(self, code: str) -> None:
        """Use a one-time link; the cookies it gives stay with the phone."""
        status, headers, body = await self.post(
            f"/sign-in/{code}", b"device=phone", "application/x-www-form-urlencoded"
        )
        if status != 303:
            raise SystemExit(f"sign-in failed: {status} {body[:200]!r}")
        cookies = headers["set-cookie"].split("\n")
        self.cookie = "; ".join(cookie.partition(";")[0] for cookie in cookies)

    def close(self) -> None:
        """Hang up."""
        self._writer.close()


def weighing(number: int, lot: str, tag: int, at: str) -> bytes:
    """The body of one weighing as a phone sends it."""
    return json.dumps(
        {
            "entries": [
                {
                    "id": f"0199{time.time_ns() & 0xFFFF_FFFF:08x}-{number:012d}",
                    "kind": "piece.weighed/1",
                    "subject": lot,
                    "happened_at": at,
                    "payload": {
                        "lot": lot,
                        "mass": {"number": "1.01", "unit": "kg"},
                        "instrument": "S1",
                        "tag": str(tag),
                    },
                }
            ]
        }
    ).encode()


async def send(
    port: int, codes: list[str], lots: list[str], *, rate: float, seconds: float, at: str
) -> Answers:
    """Sign every phone in, then let all of them send at `rate` entries a second together.

    Args:
        port: int.
        codes: list of str. A one-time link for each phone.
        lots: list of str. Lots they weigh, in turn.
        rate: float. [1/s]
        seconds: float. [s]
        at: str. When it happened, ISO with offset.
    """
    phones = [Phone(port) for _ in codes]
    for phone, code in zip(phones, codes, strict=True):
        await phone.open()
        await phone.sign_in(code)
    answers = Answers()
    beat = len(phones) / rate
    begun = time.perf_counter() + 0.2

    async def go(which: int, phone: Phone) -> None:
        for step in range(int(seconds / beat)):
            due = begun + which * beat / len(phones) + step * beat
            await asyncio.sleep(max(due - time.perf_counter(), 0.0))
            number = which * 1_000_000 + step
            body = weighing(number, lots[(which + step) % len(lots)], which, at)
            status, _, content = await phone.post("/api/v1/entries", body, "application/json")
            word = json.loads(content)["entries"][0]["status"] if status == 200 else str(status)
            answers.statuses[word] = answers.statuses.get(word, 0) + 1
            answers.seconds.append(time.perf_counter() - due)

    await asyncio.gather(*(go(which, phone) for which, phone in enumerate(phones)))
    for phone in phones:
        phone.close()
    return answers
