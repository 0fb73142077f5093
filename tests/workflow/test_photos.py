"""Photos: kept as they are, checked by what they hold, shown small and without their notes."""

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image

from ridelog.core.errors import RideLogError
from ridelog.workflow import photos
from ridelog.workflow.photos import MOST_PHOTO_BYTES, photo_kind, shown_photo

# Tags of Exif (JEITA CP-3451): orientation, maker, and the folder of the place.
ORIENTATION, MAKER, PLACE = 0x0112, 0x010F, 0x8825


def photo(size: tuple[int, int] = (1800, 900), kind: str = "JPEG", **more: Any) -> bytes:
    """Return a photo whose left half is dark and right half bright."""
    points = np.zeros((size[1], size[0], 3), dtype=np.uint8)
    points[:, size[0] // 2 :] = 220
    stream = io.BytesIO()
    Image.fromarray(points).save(stream, kind, **more)
    return stream.getvalue()


def brightness(image: Image.Image, place: tuple[int, int]) -> float:
    return float(np.mean(np.asarray(image)[place[1], place[0]]))


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize("kind", ["jpeg", "png"])
def test_a_photo_is_told_by_what_it_holds(kind: str) -> None:
    assert photo_kind("anything.txt", photo(kind=kind.upper())) == kind


def test_it_is_shown_upright_small_and_without_its_notes() -> None:
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = 6, "a maker"
    exif.get_ifd(PLACE)[1] = "N"
    kept = photo(exif=exif)
    assert PLACE in opened(kept).getexif()
    shown = opened(shown_photo(kept))
    # Turned a quarter clockwise: the dark left half is above, and the longer side is 1,200 points.
    assert shown.size == (600, 1200)
    assert brightness(shown, (300, 100)) < 20 < 200 < brightness(shown, (300, 1100))
    assert not shown.getexif() and b"a maker" not in shown_photo(kept)


def test_a_small_one_is_not_blown_up_and_clear_parts_become_white() -> None:
    assert opened(shown_photo(photo((40, 20)))).size == (40, 20)
    stream = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(stream, "PNG")
    assert brightness(opened(shown_photo(stream.getvalue())), (4, 4)) > 250


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"$GPRMC,120000", "no JPEG or PNG photo"),
        (b"", "no JPEG or PNG photo"),
        (photo(kind="BMP", size=(8, 8)), "no JPEG or PNG photo"),
        (photo()[:-2000], "cut off or damaged"),
        (photo(kind="PNG")[:-500], "cut off or damaged"),
        (bytes(MOST_PHOTO_BYTES + 1), "24 MB are too many for a photo"),
    ],
)
def test_what_is_no_photo_is_refused(data: bytes, says: str) -> None:
    with pytest.raises(RideLogError, match=says):
        photo_kind("machine.jpg", data)


def test_points_without_end_are_refused_before_they_are_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(photos, "_MOST_POINTS", 1000)
    with pytest.raises(RideLogError, match="1,800 by 900 points are too many"):
        photo_kind("machine.jpg", photo())
