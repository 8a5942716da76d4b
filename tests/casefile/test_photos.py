"""Photos: kept by digest, copied in from elsewhere, and nothing but a file of a sane size is read."""

from __future__ import annotations

import hashlib
import os

import pytest

from diagnose.casefile import photos
from diagnose.casefile.photos import changed_photos, photo_entry
from diagnose.casefile.replay import Record, State
from diagnose.reading.problems import BadInput

PICTURE = b"\xff\xd8\xff\xe0 light"


@pytest.fixture
def case(tmp_path):
    folder = tmp_path / "bench"
    folder.mkdir()
    (tmp_path / "phone").mkdir()
    return folder / "pump.yaml"


def test_a_picture_from_elsewhere_is_copied_in_once(case, tmp_path):
    photo = tmp_path / "phone" / "one.jpg"
    photo.write_bytes(PICTURE)
    entry = photo_entry(case, str(photo))
    assert entry == {"photo": "one.jpg", "photo digest": hashlib.sha256(PICTURE).hexdigest()}
    assert (case.parent / "one.jpg").read_bytes() == PICTURE
    assert photo_entry(case, str(photo)) == entry and [p.name for p in case.parent.iterdir()] == ["one.jpg"]


def test_another_picture_of_the_same_name_gets_a_name_of_its_own(case, tmp_path):
    (case.parent / "one.jpg").write_bytes(b"dark")
    (tmp_path / "phone" / "one.jpg").write_bytes(PICTURE)
    assert photo_entry(case, str(tmp_path / "phone" / "one.jpg"))["photo"] == "one-2.jpg"
    assert (case.parent / "one.jpg").read_bytes() == b"dark" and (case.parent / "one-2.jpg").read_bytes() == PICTURE


def test_what_is_no_picture_is_not_copied_from_elsewhere(case, tmp_path):
    (tmp_path / "phone" / "secret").write_text("root:x:0")
    with pytest.raises(BadInput, match="not beside the case file and no picture"):
        photo_entry(case, str(tmp_path / "phone" / "secret"))
    assert not list(case.parent.iterdir())


@pytest.mark.parametrize(
    "make",
    [
        lambda p: os.mkfifo(p),
        lambda p: p.symlink_to("/dev/zero"),
        lambda p: p.mkdir(),
        lambda p: p.write_bytes(b"x" * 101),
    ],
)
def test_pipes_devices_folders_and_huge_files_are_refused_at_once(case, monkeypatch, make):
    monkeypatch.setattr(photos, "MOST_PHOTO_BYTES", 100)
    photo = case.parent / "f.png"
    make(photo)
    with pytest.raises(BadInput, match=r"no ordinary file|s a directory|larger than 100 bytes"):
        photo_entry(case, "f.png")
    state = State({}, (Record("3", "observations", {"saw": "bent", "photo": "f.png", "photo digest": "0" * 64}),))
    assert changed_photos(case, state) == ["photo f.png (record 3) is gone"]


def test_a_photo_that_is_not_there_is_told(case):
    with pytest.raises(BadInput, match=r"'no.jpg' cannot be read"):
        photo_entry(case, "no.jpg")
