"""Enters weighings on a disk that becomes full: this process may write files of so many bytes only.

    python -m tests.integration.full_disk_writer FOLDER BYTES     (BYTES 0: no bound of its own)

Prints one JSON object: ids acknowledged, the words of the first refusal, and what became of the
refused entry once there was room again.
"""

from __future__ import annotations

import json
import resource
import signal
import sys
from datetime import timedelta

from tests.small_house import BY, MADE_AT, NOW, draft, weighing

from saltloft.foundation.errors import StoreError
from saltloft.house import House
from saltloft.jobs import record


def main(folder: str, most: int) -> None:
    """Enter until it is refused, then once more with room."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # the write fails instead, as on a full disk
    acknowledged: list[str] = []
    words, after = "", ""
    with House.open(folder, clock=lambda: NOW, environment={}) as house:
        if most:
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, resource.RLIM_INFINITY))
        for step in range(20_000):
            one = draft(weighing("1.00", tag=str(step % 50)), MADE_AT + timedelta(seconds=step))
            one = type(one)(f"full-{step:08d}", one.payload, one.happened_at)
            try:
                receipt = record.enter(house, BY, [one])[0]
            except StoreError as error:
                words = error.message
                break
            acknowledged.append(receipt.entry_id)
        if most:
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
            after = record.enter(house, BY, [one])[0].status
    seen = {"acknowledged": acknowledged, "words": words, "refused": one.id, "after": after}
    sys.stdout.write(json.dumps(seen))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
