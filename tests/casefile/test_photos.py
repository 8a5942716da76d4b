"""Photos: kept by digest, copied in from elsewhere, and nothing but a file of a sane size is read."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os

import pytest
from PIL import Image

from diagnose.casefile import photos
from diagnose.casefile.photos import changed_photos, newest, photo_entry
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


@pytest.mark.parametrize("name", ["a.yaml", "a.yaml.journal"])
def test_a_case_and_its_journal_are_no_photos(case, name):
    (case.parent / name).write_bytes(PICTURE)
    with pytest.raises(BadInput, match="no photo"):
        photo_entry(case, name)


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


@pytest.mark.parametrize("name", ["a" * 3000, "a\0b.jpg", "a.jpg/b"])
def test_a_name_that_no_file_can_have_is_told(case, name):
    with pytest.raises(BadInput, match="cannot be read"):
        photo_entry(case, name)


def test_a_photo_that_is_not_there_is_told(case):
    with pytest.raises(BadInput, match=r"'no.jpg' cannot be read"):
        photo_entry(case, "no.jpg")


def picture(kind):
    """A picture that says where it was taken, lies on its side, and was taken at a time."""
    image, exif, out = Image.new("RGB", (8, 6), "red"), Image.Exif(), io.BytesIO()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0x9003] = "2026:11:01 10:00:00"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 1.0, 2.0)})
    image.save(out, kind, exif=exif.tobytes())
    return out.getvalue()


def tags_of(data):
    exif = Image.open(io.BytesIO(data)).getexif()
    return exif.get(0x0112), exif.get_ifd(0x8769).get(0x9003), dict(exif.get_ifd(0x8825))


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_where_a_photo_was_taken_is_taken_out_and_all_else_stays(case, tmp_path, kind):
    """Written and read back by Pillow, whose tags are those of CIPA DC-008 (Exif)."""
    photo = tmp_path / "phone" / f"one.{kind.lower()}"
    photo.write_bytes(picture(kind))
    entry = photo_entry(case, str(photo))
    kept = (case.parent / entry["photo"]).read_bytes()
    assert tags_of(kept) == (6, "2026:11:01 10:00:00", {}) and entry["photo digest"] == hashlib.sha256(kept).hexdigest()
    assert Image.open(io.BytesIO(kept)).tobytes() == Image.open(photo).tobytes()
    assert photo.read_bytes() == picture(kind), "the person's own file stays"
    assert photo_entry(case, str(photo)) == entry


def test_a_photo_keeps_its_place_where_that_is_asked_for(case, tmp_path):
    (tmp_path / "phone" / "one.jpg").write_bytes(picture("JPEG"))
    entry = photo_entry(case, str(tmp_path / "phone" / "one.jpg"), keep_location=True)
    assert tags_of((case.parent / entry["photo"]).read_bytes())[2] == {1: "N", 2: (52.0, 1.0, 2.0)}


def test_a_photo_beside_the_case_is_recorded_as_a_copy_without_its_place(case):
    (case.parent / "one.jpg").write_bytes(picture("JPEG"))
    entry = photo_entry(case, "one.jpg")
    assert entry["photo"] == "one-2.jpg" and tags_of((case.parent / "one-2.jpg").read_bytes())[2] == {}


def test_a_kind_of_picture_that_cannot_be_cleaned_is_refused_with_a_way_out(case, tmp_path):
    (tmp_path / "phone" / "one.webp").write_bytes(picture("WEBP"))
    with pytest.raises(BadInput, match="--keep-location"):
        photo_entry(case, str(tmp_path / "phone" / "one.webp"))


def test_broken_picture_data_is_never_a_traceback_and_never_keeps_a_place_that_cannot_be_read(case, tmp_path):
    whole = picture("JPEG")
    for end in (3, 20, 60, 120):
        photo = tmp_path / "phone" / f"cut{end}.jpg"
        photo.write_bytes(whole[:end])
        photo_entry(case, str(photo))
    mangled = whole.replace(b"Exif\x00\x00MM\x00*", b"Exif\x00\x00ZZ\x00*").replace(
        b"Exif\x00\x00II*\x00", b"Exif\x00\x00ZZ*\x00"
    )
    assert mangled != whole
    (tmp_path / "phone" / "odd.jpg").write_bytes(mangled)
    entry = photo_entry(case, str(tmp_path / "phone" / "odd.jpg"))
    assert b"Exif" not in (case.parent / entry["photo"]).read_bytes()


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_picture_with_any_byte_changed_is_taken_or_refused(case, tmp_path, monkeypatch, kind):
    monkeypatch.setattr(photos, "put", lambda *_: None)
    whole, photo = picture(kind), tmp_path / "phone" / "odd"
    for place in range(4, min(len(whole), 300)):
        for sign in (0x00, 0x0F, 0xFF):
            photo.write_bytes(whole[:place] + bytes([sign]) + whole[place + 1 :])
            with contextlib.suppress(BadInput):
                photo_entry(case, str(photo))


def test_what_is_broken_in_a_picture_is_no_warning_on_the_terminal(case, tmp_path, recwarn):
    photo = tmp_path / "phone" / "odd.tif"
    photo.write_bytes(b"II*\x00\x08\x00\x00\x00\xff\xff" + b"\x12\x88" * 100)
    photo_entry(case, str(photo))
    assert [str(w.message) for w in recwarn] == []


def test_the_newest_pictures_of_a_folder_come_first(tmp_path):
    for age, name in enumerate(("new.jpg", "notes.txt", "old.PNG")):
        (tmp_path / name).write_bytes(PICTURE)
        os.utime(tmp_path / name, (1000 - age, 1000 - age))
    assert [p.name for p in newest(tmp_path)] == ["new.jpg", "old.PNG"]
    with pytest.raises(BadInput, match="cannot be read"):
        newest(tmp_path / "no")
