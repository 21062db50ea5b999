"""Tampering is found: by the chain alone where it can be, by an anchor where it takes one."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.integration.databases import Behind, behind
from tests.small_house import MADE_AT, NOW, enter, one_of_each, weighing, with_lot

from saltloft.foundation.errors import InputError, StoreError
from saltloft.house import House
from saltloft.jobs import keep
from saltloft.plant.answers import JournalHead
from saltloft.store.journal import NO_HASH, Entry, entry_hash
from saltloft.store.settings import read_settings

pytestmark = pytest.mark.usefixtures("either_database")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory, either_database: str) -> Path:
    """A house with one entry of each kind, closed."""
    folder = tmp_path_factory.mktemp("whole") / "house"
    house = with_lot(folder)
    one_of_each(house)
    house.close()
    return folder


@pytest.fixture
def copy_of(request: pytest.FixtureRequest, either_database: str) -> Callable[[Path, Path], Path]:
    """Copies a closed house, its database with it."""

    def copy(house: Path, to: Path) -> Path:
        shutil.copytree(house, to)
        if either_database == "postgresql":
            url = read_settings(house, {}).text("database_url")
            other = request.getfixturevalue("postgresql").copy(url)
            toml = (to / "house.toml").read_text().replace(url, other)
            (to / "house.toml").write_text(toml)
        return to

    return copy


@pytest.fixture
def folder(whole: Path, copy_of: Callable[[Path, Path], Path], tmp_path: Path) -> Path:
    """A copy of it to damage."""
    return copy_of(whole, tmp_path / "house")


def damage(folder: Path, deed: Callable[[Behind], object]) -> None:
    """Do something to the database behind the program's back."""
    with behind(folder) as raw:
        raw.free()
        deed(raw)


def opened(folder: Path) -> House:
    """The house again."""
    return House.open(folder, clock=lambda: NOW, environment={})


def head_of(folder: Path) -> JournalHead:
    """Its head."""
    with opened(folder) as house:
        head = house.store.head()
        assert head is not None
        return head


def printed(head: JournalHead) -> str:
    """A head as papers print it."""
    return f"{head.seq}-{head.hash[:12]}"


COLUMNS = (
    "id",
    "kind",
    "subject",
    "body",
    "happened_at",
    "recorded_at",
    "person",
    "device",
    "previous_hash",
    "hash",
)


@pytest.mark.parametrize("column", COLUMNS)
def test_one_changed_byte_in_any_column_is_found(folder: Path, column: str) -> None:
    """The first bad entry is named; it is number 20, or 20 by the hash it no longer gives."""

    def change(raw: Behind) -> None:
        old = raw.execute(f"SELECT {column} FROM journal WHERE seq = 20").fetchone()[0]
        place = len(old) // 2
        new = old[:place] + (b"~" if isinstance(old, bytes) else "~") + old[place + 1 :]
        raw.execute(f"UPDATE journal SET {column} = ? WHERE seq = 20", (new,))

    damage(folder, change)
    with opened(folder) as house:
        found = house.store.verify()
    assert [fault.seq for fault in found.faults] == [20]
    assert "20" in found.faults[0].words
    assert found.entries == 19


def test_a_changed_seq_is_found(folder: Path) -> None:
    """The last entry cannot take another number."""
    last = head_of(folder).seq
    damage(folder, lambda raw: raw.execute("UPDATE journal SET seq = seq + 1 WHERE seq = ?", (last,)))
    with opened(folder) as house:
        assert [fault.seq for fault in house.store.verify().faults] == [last]


def test_a_deleted_entry_inside_is_found(folder: Path) -> None:
    """Also when all later ones are renumbered to close the gap."""
    damage(folder, lambda raw: raw.execute("DELETE FROM journal WHERE seq = 21"))
    with opened(folder) as house:
        assert house.store.verify().faults[0].seq == 21
    last = head_of(folder).seq
    with behind(folder) as raw:
        for seq in range(22, last + 1):
            raw.execute("UPDATE journal SET seq = seq - 1 WHERE seq = ?", (seq,))
    with opened(folder) as house:
        assert house.store.verify().faults[0].seq == 21


def test_two_entries_in_another_order_are_found(folder: Path) -> None:
    """Rows 22 and 23 change places."""

    def swap(raw: Behind) -> None:
        for new, old in ((-1, 22), (22, 23), (23, -1)):
            raw.execute("UPDATE journal SET seq = ? WHERE seq = ?", (new, old))

    damage(folder, swap)
    with opened(folder) as house:
        assert house.store.verify().faults[0].seq == 22


def rewrite(raw: Behind, first: int) -> None:
    """Change the person of one entry and write every hash after it anew, as one who knows how would."""
    rows = raw.execute("SELECT * FROM journal ORDER BY seq").fetchall()
    previous = NO_HASH
    for row in rows:
        entry = Entry(*row)
        person = "nobody" if entry.seq == first else entry.person
        entry = Entry(*row[:7], person, entry.device, previous, "")
        previous = entry_hash(entry)
        raw.execute(
            "UPDATE journal SET person = ?, previous_hash = ?, hash = ? WHERE seq = ?",
            (person, entry.previous_hash, previous, entry.seq),
        )


def test_without_an_anchor_three_things_go_unseen_and_it_says_so(folder: Path) -> None:
    """A cut tail and a rewritten chain are whole in themselves; the words name what cannot be seen."""
    last = head_of(folder).seq
    damage(folder, lambda raw: raw.execute("DELETE FROM journal WHERE seq > ?", (last - 3,)))
    with behind(folder) as raw:
        rewrite(raw, 20)
    with opened(folder) as house:
        found = house.store.verify()
    assert found.whole
    assert not found.anchored
    for words in ("cut off at the end", "older copy put back", "written anew"):
        assert words in found.cannot_see


def test_a_cut_tail_is_found_by_an_anchor(folder: Path) -> None:
    """The first entry that is missing is named."""
    head = head_of(folder)
    damage(folder, lambda raw: raw.execute("DELETE FROM journal WHERE seq > ?", (head.seq - 3,)))
    with opened(folder) as house:
        found = keep.verify(house, [printed(head)])
    assert [fault.seq for fault in found.faults] == [head.seq - 2]
    assert found.anchored
    assert not found.cannot_see


def test_an_older_copy_put_back_is_found_by_an_anchor(
    whole: Path, copy_of: Callable[[Path, Path], Path], tmp_path: Path
) -> None:
    """The copy goes on with entries of its own: the anchor's entry is another one there."""
    copy = copy_of(whole, tmp_path / "older")
    with opened(copy_of(whole, tmp_path / "newer")) as newer:
        enter(newer, weighing("0.99"), at=MADE_AT)
        head = newer.store.head()
        assert head is not None
    with opened(copy) as older:
        assert keep.verify(older, [printed(head)]).faults[0].seq == head.seq
        enter(older, weighing("0.98"), at=MADE_AT)
        found = keep.verify(older, [printed(head)])
    assert not found.whole
    assert str(head.seq) in found.faults[0].words


def test_a_rewritten_chain_is_found_by_an_anchor_and_the_first_entry_named_by_a_backup(
    folder: Path, tmp_path: Path
) -> None:
    """One head shows that it was rewritten, two bracket where, a backup names the first entry exactly."""
    with opened(folder) as house:
        packed = keep.backup(house, tmp_path / "backups").path
        head = house.store.head()
        assert head is not None
        early = house.store.entries(before=12, limit=1)[0]
    damage(folder, lambda raw: rewrite(raw, 20))
    with opened(folder) as house:
        assert house.store.verify().whole
        one = keep.verify(house, [printed(head)])
        two = keep.verify(house, [f"{early.seq}-{early.hash}", printed(head)])
        exact = keep.verify(house, [str(packed)])
    assert not one.whole
    assert two.faults[0].seq == 12
    assert "between 12 and" in two.faults[0].words
    assert exact.faults[0].seq == 20
    assert "first entry that differs is 20" in exact.faults[0].words


def test_a_whole_chain_fits_its_anchors(folder: Path) -> None:
    """The head of the day, an earlier head and its own backup raise nothing."""
    with opened(folder) as house:
        head = house.store.head()
        assert head is not None
        packed = keep.backup(house, folder.parent / "backups").path
        early = house.store.entries(before=12, limit=1)[0]
        found = keep.verify(house, [printed(head), f"{early.seq}-{early.hash}", str(packed)])
    assert found.whole
    assert found.entries == head.seq


@pytest.mark.parametrize("anchor", ["", "x", "12", "12-abc", "12-zzzzzzzzzzzz", "-3-" + "a" * 12])
def test_an_anchor_that_is_none_is_refused(folder: Path, anchor: str) -> None:
    """What a head looks like is said."""
    with opened(folder) as house, pytest.raises(InputError, match="1842-9f3c0a77b1d2"):
        keep.verify(house, [anchor])


def test_a_backup_that_is_none_is_refused_as_an_anchor(folder: Path, tmp_path: Path) -> None:
    """Text called .zip, or a missing file."""
    bad = tmp_path / "bad.zip"
    bad.write_text("no")
    with opened(folder) as house:
        with pytest.raises(StoreError, match="no backup"):
            keep.verify(house, [str(bad)])
        with pytest.raises(InputError, match="no such backup"):
            keep.verify(house, [str(tmp_path / "none.zip")])


def test_a_set_up_that_is_no_json_any_more_does_not_keep_verify_from_naming_it(folder: Path) -> None:
    """The house still opens for verify; everything else that reads it says what to do."""
    damage(folder, lambda raw: raw.execute("UPDATE journal SET body = ? WHERE seq = 1", (b"\0",)))
    with opened(folder) as house:
        assert [fault.seq for fault in keep.verify(house).faults] == [1]
        with pytest.raises(StoreError, match=r"cannot be read.*run 'saltloft verify'"):
            house.store.house()


def test_an_emptied_database_is_not_called_whole(folder: Path) -> None:
    damage(folder, lambda raw: raw.execute("DELETE FROM journal"))
    with opened(folder) as house:
        found = keep.verify(house)
    assert not found.whole
    assert "empty" in found.faults[0].words
