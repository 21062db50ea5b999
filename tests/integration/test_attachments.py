"""Files attached to a house: photos without their place, at most 20 MB."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from tests.small_house import NOW, make_house
from tests.unit.store.test_photos import LATITUDE, exif, jpeg, segment

from saltloft.foundation.errors import InputError
from saltloft.store.attachments import LARGEST


def test_a_photo_is_kept_without_its_place(tmp_path: Path) -> None:
    """No file of the house holds the position; the digest is that of what is kept; put back, bytes stay."""
    photo = jpeg(segment(0xE1, b"Exif\0\0" + exif(8)))
    assert LATITUDE in photo
    with make_house(tmp_path / "house") as house:
        kept = house.store.attachments.put(photo, "rack.jpg", "image/jpeg", NOW)
        found, content = house.store.attachments.get(kept.digest)
        assert found == kept
        assert kept.digest == hashlib.sha256(content).hexdigest()
        files = [path.read_bytes() for path in (tmp_path / "house" / "files").rglob("*") if path.is_file()]
        assert files == [content]
        assert LATITUDE not in content
        # Cleaned once it stays as it is; an export of an older house keeps its digests.
        assert house.store.attachments.put(content, "rack.jpg", "image/jpeg", NOW).digest == kept.digest
        back = house.store.attachments.put_back(photo, "old.jpg", "image/jpeg", NOW)
        assert house.store.attachments.get(back.digest)[1] == photo


def test_no_file_is_larger_than_20_mb(tmp_path: Path) -> None:
    """20 MB are taken; one byte more and none at all are refused, and nothing is left of them."""
    with make_house(tmp_path / "house") as house:
        attachments = house.store.attachments
        assert LARGEST == 20 * 2**20
        assert attachments.put(bytes(LARGEST), "large.bin", "application/octet-stream", NOW).bytes == LARGEST
        for content in (bytes(LARGEST + 1), b""):
            with pytest.raises(InputError, match="cannot be attached") as caught:
                attachments.put(content, "x.bin", "application/octet-stream", NOW)
            assert caught.value.allowed == "1 byte to 20 MB"
        assert len(attachments.all()) == 1
