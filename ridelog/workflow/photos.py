"""Photos of machines: that a file is one, and how it is shown; the file itself stays as it is."""

import io
import warnings

from PIL import Image, ImageOps, UnidentifiedImageError

from ridelog.core.errors import RideLogError
from ridelog.core.text import shown_name

# A telephone's photo has 3 to 12 MB and 12 to 50 million points; more is no photo to keep in a
# book. Own choice.
MOST_PHOTO_BYTES = 24_000_000
_MOST_POINTS = 60_000_000
_KINDS = {"JPEG": "jpeg", "PNG": "png"}
# As large as a photo is shown, the longer side in points; own choice, some 200 kB.
SHOWN_POINTS = 1_200
_QUALITY = 82
_ADVICE = "save it as JPEG or PNG and add that."


def photo_kind(name: str, data: bytes) -> str:
    """Return "jpeg" or "png" of a photo that can be shown whole.

    RideLogError if it is too large, is no photo of these kinds, or is damaged.
    """
    shown = shown_name(name)
    if len(data) > MOST_PHOTO_BYTES:
        raise RideLogError(
            f"{shown}: {len(data) / 1e6:.0f} MB are too many for a photo; "
            f"{MOST_PHOTO_BYTES / 1e6:.0f} MB are the most.",
            "make it smaller first.",
        )
    image = _opened(shown, data)
    kind = _KINDS[str(image.format)]
    _loaded(shown, image)
    return kind


def shown_photo(data: bytes, points: int = SHOWN_POINTS) -> bytes:
    """Return a photo as JPEG, upright and no larger than it is shown, without what is hidden in it.

    Where it was taken, often written into a photo's file, is not in what is shown.
    RideLogError if it cannot be read.
    """
    image = _opened("the photo", data)
    image.draft("RGB", (2 * points, 2 * points))
    _loaded("the photo", image)
    upright = ImageOps.exif_transpose(image)
    upright.thumbnail((points, points))
    if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
        clear = upright.convert("RGBA")
        upright = Image.new("RGB", clear.size, "white")
        upright.paste(clear, mask=clear.getchannel("A"))
    stream = io.BytesIO()
    # A fresh picture of the points alone: nothing of the file's own notes goes with it.
    plain = Image.new("RGB", upright.size)
    plain.paste(upright.convert("RGB"))
    plain.save(stream, "JPEG", quality=_QUALITY, optimize=True)
    return stream.getvalue()


def _opened(shown: str, data: bytes) -> Image.Image:
    try:
        with warnings.catch_warnings():
            # Its own bound on points only warns; ours refuses.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(data), formats=tuple(_KINDS))
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError) as error:
        raise RideLogError(f"{shown}: this is no JPEG or PNG photo.", _ADVICE) from error
    if image.width * image.height > _MOST_POINTS:
        raise RideLogError(
            f"{shown}: {image.width:,} by {image.height:,} points are too many for a photo.",
            "make it smaller first.",
        )
    return image


def _loaded(shown: str, image: Image.Image) -> None:
    try:
        image.load()
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise RideLogError(
            f"{shown}: the photo is cut off or damaged.", "copy it again."
        ) from error
