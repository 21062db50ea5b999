"""Backup while running, restore into an empty folder; both verified, damage refused."""

from __future__ import annotations

import json
import threading
import zipfile
from pathlib import Path

import numpy as np
import pytest
from tests.integration.databases import behind
from tests.small_house import BY, NOW, enter, one_of_each, weighing, with_lot

from saltloft.foundation.errors import InputError, RuleBroken, StoreError, UnknownName
from saltloft.house import House
from saltloft.jobs import keep, people
from saltloft.plant.readings import ReadingsSealed
from saltloft.store import projection

pytestmark = pytest.mark.usefixtures("either_database")


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house with entries, readings, an attachment and a PIN."""
    made = with_lot(tmp_path / "house")
    one_of_each(made)
    rows = {"D2/rh_pct": (np.arange(500, dtype=np.int64) * 60, np.full(500, 81.5))}
    made.store.readings.seal(
        rows, ReadingsSealed("b-1", "a.csv", "a" * 64, 0, "", (), "", ""), BY, made.new_id()
    )
    made.store.attachments.put(b"a laboratory's report", "report.pdf", "application/pdf", NOW)
    people.set_pin(made, "ilo", "4711")
    return made


def test_a_restored_house_is_the_same_house(house: House, tmp_path: Path) -> None:
    """Journal, tables, readings, files and names come back; the head is in the file's name and fits."""
    done = keep.backup(house)
    head = house.store.head()
    assert head is not None
    assert done.head == head
    assert done.path.name == f"saltloft-{head.seq}-{head.hash[:12]}-20261103T060000Z.zip"
    back = keep.restore(done.path, tmp_path / "deep" / "back")
    assert (back.head, back.files) == (head, 1)
    with House.open(back.path, clock=lambda: NOW, environment={}) as again:
        assert keep.verify(again, [f"{head.seq}-{head.hash}"]).whole
        with house.store.database.reading() as one, again.store.database.reading() as two:
            assert projection.rows(one) == projection.rows(two)
        kept = again.store.attachments.all()[0]
        assert again.store.attachments.get(kept.digest)[1] == b"a laboratory's report"
        assert again.name == "Test house"
        # The key is not in a backup: the restored PIN opens nothing, also when it is right.
        with pytest.raises(RuleBroken, match="wrong"):
            people.check_pin(again, "ilo", "4711", NOW)
    assert not any("key" in name for name in zipfile.ZipFile(done.path).namelist())
    # Nor is the place of the database, which may hold a password: the restored house is a file.
    assert b"database_url" not in zipfile.ZipFile(done.path).read("house.toml")
    assert (back.path / "house.db").is_file()


def test_a_backup_while_entries_come_in_is_whole(house: House, tmp_path: Path) -> None:
    """What is copied belongs together, wherever the writer was."""
    stop = threading.Event()

    def work() -> None:
        while not stop.is_set():
            enter(house, weighing("1.00", tag="77"))

    thread = threading.Thread(target=work)
    thread.start()
    try:
        made = [keep.backup(house, tmp_path / f"b{number}") for number in range(3)]
    finally:
        stop.set()
        thread.join()
    for number, done in enumerate(made):
        assert keep.restore(done.path, tmp_path / f"r{number}").head == done.head


def test_restore_needs_an_empty_folder(house: House, tmp_path: Path) -> None:
    """A house that is there is never overwritten."""
    packed = keep.backup(house).path
    with pytest.raises(InputError, match="empty folder"):
        keep.restore(packed, house.folder)
    (tmp_path / "empty").mkdir()
    keep.restore(packed, tmp_path / "empty")


def rewritten(packed: Path, target: Path, name: str, content: bytes | None, **manifest: object) -> Path:
    """The backup with one file replaced (or, for None, left out), or its manifest changed."""
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(target, "w") as new:
        for item in old.namelist():
            data = old.read(item)
            if item == "manifest.json":
                data = json.dumps(json.loads(data) | manifest).encode()
            if item != name:
                new.writestr(item, data)
            elif content is not None:
                new.writestr(item, content)
    return target


def test_a_damaged_or_foreign_backup_is_refused_and_leaves_nothing(house: House, tmp_path: Path) -> None:
    """Changed bytes, a missing file, another format, a path that climbs out, no zip at all."""
    packed = keep.backup(house).path
    other_head = {"seq": 1, "hash": "0" * 64, "recorded_at": "2026-11-03T06:00:00.000Z"}
    climbing = {"files": {"../../etc/x": "0" * 64}}
    bad = {
        "changed": rewritten(packed, tmp_path / "1.zip", "house.toml", b"name = 'x'\n"),
        "missing": rewritten(packed, tmp_path / "2.zip", "house.db", None),
        "format": rewritten(packed, tmp_path / "3.zip", "", None, format="other/9"),
        "head": rewritten(packed, tmp_path / "4.zip", "", None, head=other_head),
        "path": rewritten(packed, tmp_path / "5.zip", "", None, **climbing),
        "cut": tmp_path / "6.zip",
    }  # fmt: skip
    bad["cut"].write_bytes(packed.read_bytes()[:-2000])
    for name, file in bad.items():
        with pytest.raises((StoreError, InputError)):
            keep.restore(file, tmp_path / "out" / name)
        assert not (tmp_path / "out" / name).exists()
    assert not list(tmp_path.glob("**/etc"))


def test_a_path_that_climbs_out_is_refused_even_when_its_sum_fits(house: House, tmp_path: Path) -> None:
    """A crafted backup that holds such a file, with the right digest, writes nothing outside."""
    import hashlib

    packed = keep.backup(house).path
    evil = tmp_path / "evil.zip"
    with zipfile.ZipFile(packed) as old, zipfile.ZipFile(evil, "w") as new:
        manifest = json.loads(old.read("manifest.json"))
        manifest["files"]["files/../../x"] = hashlib.sha256(b"x").hexdigest()
        for item in old.namelist():
            new.writestr(item, json.dumps(manifest) if item == "manifest.json" else old.read(item))
        new.writestr("files/../../x", b"x")
    with pytest.raises(StoreError, match="does not belong"):
        keep.restore(evil, tmp_path / "out" / "house")
    assert not list(tmp_path.glob("**/x"))


def test_a_house_whose_chain_is_broken_is_not_backed_up_as_good(house: House, tmp_path: Path) -> None:
    """The copy is verified before it gets its name."""
    with behind(house.folder) as raw:
        raw.free()
        raw.execute("UPDATE journal SET person = 'x' WHERE seq = 7")
    with pytest.raises(StoreError, match="Entry 7"):
        keep.backup(house, tmp_path / "b")
    assert not list((tmp_path / "b").iterdir())


def test_an_attachment_that_was_changed_is_refused(house: House) -> None:
    """Its bytes must give its digest; the same bytes are kept once; empty and huge ones are refused."""
    store = house.store.attachments
    same = store.put(b"a laboratory's report", "again.pdf", "application/pdf", NOW)
    assert len(store.all()) == 1
    store.path_of(same.digest).write_bytes(b"another")
    with pytest.raises(StoreError, match="was changed"):
        store.get(same.digest)
    with pytest.raises(UnknownName):
        store.get("0" * 64)
    for content in (b"", b"x" * (20 * 1024 * 1024 + 1)):
        with pytest.raises(InputError, match="cannot be attached"):
            store.put(content, "x", "text/plain", NOW)
