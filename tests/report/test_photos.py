"""Published photos: pixels, and nothing that says where or with what they were taken."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from benchproof.errors import InputError
from benchproof.report.photos import published_photo

DEMO = Path(__file__).parents[2] / "runs" / "2026-05-bistort-2207" / "photos" / "s1-shaft.jpg"


def test_place_and_camera_do_not_get_out() -> None:
    data = DEMO.read_bytes()
    with Image.open(io.BytesIO(data)) as before:
        assert before.getexif(), "the demo's photo carries invented metadata to lose"
    photo = published_photo(data, name="photos/s1-shaft.jpg")
    with Image.open(io.BytesIO(photo.data)) as after:
        assert not after.getexif()
        assert set(after.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}
    assert b"Exif" not in photo.data
    assert published_photo(data, name="photos/s1-shaft.jpg").data == photo.data


def picture(size: tuple[int, int], kind: str, **more) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", size, "grey").save(buffer, kind, **more)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"", "a.png"),
        (b"<svg onload='x()'/>", "a.png"),
        (picture((8, 8), "GIF"), "a.png"),
        (picture((8, 8), "PNG"), "a.jpg"),
        (picture((9000, 9000), "PNG"), "a.png"),
        (picture((64, 64), "JPEG")[:-200], "a.jpg"),
    ],
)
def test_what_is_no_honest_picture_is_refused_in_words(data: bytes, name: str) -> None:
    with pytest.raises(InputError) as caught:
        published_photo(data, name=name)
    assert caught.value.faults[0].remedy


def test_comments_in_a_png_are_left_behind() -> None:
    from PIL.PngImagePlugin import PngInfo

    note = PngInfo()
    note.add_text("Comment", "<script>secret</script>")
    photo = published_photo(picture((8, 8), "PNG", pnginfo=note), name="a.png")
    assert b"secret" not in photo.data
