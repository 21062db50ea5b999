"""A real broker for tests: mosquitto on 127.0.0.1, with a password; it keeps its sessions on disk."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

from paho.mqtt import publish
from paho.mqtt.enums import MQTTProtocolVersion

USER, PASSWORD = "house", "not-for-print-7Q"
PROGRAM = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin")


def until(found: Callable[[], bool], seconds: float = 20.0) -> None:
    """Wait for something; fails when it does not come."""
    end = time.monotonic() + seconds
    while not found():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.02)


class TestBroker:
    """One broker; `stop` and `start` again keep what it holds.

    Args:
        folder: Path. For its settings and its store.
        tls: (Path, Path) or None. Certificate and key.
    """

    __test__ = False

    def __init__(self, folder: Path, tls: tuple[Path, Path] | None = None) -> None:
        assert PROGRAM, "mosquitto is not here: run scripts/broker"
        folder.mkdir()
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        passwords = folder / "passwords"
        passwords.touch(mode=0o600)
        command = [str(Path(PROGRAM).parent.parent / "bin" / "mosquitto_passwd"), "-b", str(passwords)]
        subprocess.run([*command, USER, PASSWORD], check=True, capture_output=True)
        lines = [
            f"listener {self.port} 127.0.0.1",
            "allow_anonymous false",
            f"password_file {passwords}",
            "persistence true",
            f"persistence_location {folder}/",
            "log_dest none",
        ]
        if os.geteuid() == 0:
            lines.append("user root")
        if tls:
            lines += [f"certfile {tls[0]}", f"keyfile {tls[1]}"]
        self.settings = folder / "mosquitto.conf"
        self.settings.write_text("\n".join(lines) + "\n")
        self.process: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        """Start it; returns when it answers."""
        assert PROGRAM
        self.process = subprocess.Popen(
            [PROGRAM, "-c", str(self.settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until(self._answers)

    def stop(self) -> None:
        """End it."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None

    def send(self, topic: str, payload: str | bytes, *, retain: bool = False) -> None:
        """Send as a sensor does; returns when the broker has it."""
        publish.single(
            topic,
            payload,
            qos=1,
            retain=retain,
            hostname="127.0.0.1",
            port=self.port,
            auth={"username": USER, "password": PASSWORD},
            protocol=MQTTProtocolVersion.MQTTv311,
        )

    def _answers(self) -> bool:
        with socket.socket() as line:
            return line.connect_ex(("127.0.0.1", self.port)) == 0
