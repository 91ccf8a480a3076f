"""Published copies of photos: the pixels and nothing else."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

from benchproof.errors import Fault, InputError

MOST_PIXELS: Final = 60_000_000
"""Most pixels a photo may have: more than any phone takes, less than harms a laptop's memory."""

LONGEST_EDGE: Final = 2400
"""Longest edge of the published copy in pixels: a scale bar stays legible."""

_SUFFIXES: Final = {"JPEG": (".jpg", ".jpeg"), "PNG": (".png",)}


@dataclass(frozen=True, slots=True)
class Photo:
    """A published photo.

    Parameters
    ----------
    data : bytes
        The file: JPEG or PNG without any metadata.
    width, height : int
        Size in pixels.
    """

    data: bytes
    width: int
    height: int


def published_photo(data: bytes, *, name: str) -> Photo:
    """Return the copy of a photo that is published: upright, bounded, without metadata.

    Parameters
    ----------
    data : bytes
        The file as it was given.
    name : str
        Its name, relative to the workspace; its ending must say what it is.

    Returns
    -------
    Photo
        The same bytes for the same photo and the same Pillow.

    Raises
    ------
    InputError
        If it is neither JPEG nor PNG, is damaged, or holds more than ``MOST_PIXELS`` pixels.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            return _copy(data, name)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _fault(name, f"more than {MOST_PIXELS} pixels") from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise _fault(name, f"a file that is no whole JPEG or PNG picture ({type(error).__name__})") from None


def _copy(data: bytes, name: str) -> Photo:
    with Image.open(io.BytesIO(data), formats=tuple(_SUFFIXES)) as picture:
        kind = str(picture.format)
        if not name.lower().endswith(_SUFFIXES.get(kind, ())):
            raise _fault(name, f"a {kind} picture under another ending")
        if picture.width * picture.height > MOST_PIXELS:
            raise _fault(name, f"{picture.width} x {picture.height} pixels")
        upright = ImageOps.exif_transpose(picture)
        upright.thumbnail((LONGEST_EDGE, LONGEST_EDGE))
        return _encoded(upright, kind)


def _encoded(picture: Image.Image, kind: str) -> Photo:
    """Return a file made from the pixels alone."""
    mode = _mode(picture, kind)
    pixels = picture.convert(mode)
    # A picture made from raw bytes carries no comment, profile, thumbnail or camera data over.
    clean = Image.frombytes(mode, pixels.size, pixels.tobytes())
    buffer = io.BytesIO()
    if kind == "JPEG":
        clean.save(buffer, "JPEG", quality=88, progressive=True, optimize=True)
    else:
        clean.save(buffer, "PNG", optimize=True)
    return Photo(buffer.getvalue(), clean.width, clean.height)


def _mode(picture: Image.Image, kind: str) -> str:
    if kind == "PNG" and (picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info):
        return "RGBA"
    return "L" if picture.mode in ("L", "1") else "RGB"


def _fault(name: str, found: str) -> InputError:
    return InputError(
        Fault(
            file=name,
            place="",
            found=found,
            expected=f"a JPEG (.jpg, .jpeg) or PNG (.png) photo of at most {MOST_PIXELS} pixels",
            remedy="Save it anew as JPEG or PNG, or leave it out.",
        )
    )
