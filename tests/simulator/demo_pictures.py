"""The demo's pictures: sketches that say they are invented, one of them with a location in its metadata."""

from __future__ import annotations

import io
import math

from PIL import Image, ImageDraw, ImageFont

SIZE = (640, 480)
PAPER, INK, STEEL, COPPER, DARK = (
    (236, 234, 228),
    (40, 42, 46),
    (150, 156, 164),
    (176, 104, 58),
    (92, 96, 104),
)


def picture(name: str, subject: str) -> bytes:
    """Return a drawing of a part as PNG, or as JPEG with an invented location where the name says ``.jpg``."""
    image = Image.new("RGB", SIZE, PAPER)
    {"bell": _bell, "nut": _nut, "stator": _stator, "shaft": _shaft}[subject](ImageDraw.Draw(image))
    _caption(image, f"INVENTED - {subject}, drawn, not photographed")
    out = io.BytesIO()
    if name.endswith(".jpg"):
        image.save(out, "JPEG", quality=88, exif=_location())
    else:
        image.quantize(32).save(out, "PNG")
    return out.getvalue()


def _caption(image: Image.Image, words: str) -> None:
    """Write the caption in large square letters; the bitmap font is the same on every machine."""
    small = Image.new("1", (6 * len(words) + 4, 12))
    ImageDraw.Draw(small).text((2, 0), words, fill=1, font=ImageFont.load_default_imagefont())
    large = small.resize((small.width * 2, small.height * 2), Image.Resampling.NEAREST)
    image.paste(INK, (24, SIZE[1] - 40), large)


def _circle(draw: ImageDraw.ImageDraw, x: float, y: float, r: float, fill: tuple[int, int, int]) -> None:
    draw.ellipse((x - r, y - r, x + r, y + r), fill=fill, outline=INK, width=2)


def _bell(draw: ImageDraw.ImageDraw) -> None:
    _circle(draw, 320, 220, 180, DARK)
    for magnet in range(14):
        angle = 2 * math.pi * magnet / 14
        _circle(draw, 320 + 160 * math.cos(angle), 220 + 160 * math.sin(angle), 14, STEEL)
    _circle(draw, 320, 220, 120, PAPER)
    for arm in range(5):
        angle = 2 * math.pi * arm / 5
        draw.line((320, 220, 320 + 120 * math.cos(angle), 220 + 120 * math.sin(angle)), fill=DARK, width=22)
    _circle(draw, 320, 220, 34, STEEL)


def _stator(draw: ImageDraw.ImageDraw) -> None:
    for tooth in range(12):
        angle = 2 * math.pi * tooth / 12
        x, y = math.cos(angle), math.sin(angle)
        draw.line((320 + 60 * x, 220 + 60 * y, 320 + 170 * x, 220 + 170 * y), fill=STEEL, width=30)
        draw.line((320 + 80 * x, 220 + 80 * y, 320 + 140 * x, 220 + 140 * y), fill=COPPER, width=44)
    _circle(draw, 320, 220, 70, STEEL)
    _circle(draw, 320, 220, 26, PAPER)


def _nut(draw: ImageDraw.ImageDraw) -> None:
    corners = [(320 + 150 * math.cos(k * math.pi / 3), 220 + 150 * math.sin(k * math.pi / 3)) for k in range(6)]
    draw.polygon(corners, fill=STEEL, outline=INK)
    _circle(draw, 320, 220, 78, DARK)
    for turn in range(5):
        _circle(draw, 320, 220, 72 - 10 * turn, DARK)
    draw.line((205, 120, 260, 175), fill=COPPER, width=6)


def _shaft(draw: ImageDraw.ImageDraw) -> None:
    draw.rectangle((120, 195, 520, 245), fill=STEEL, outline=INK, width=2)
    draw.rectangle((480, 180, 540, 260), fill=DARK, outline=INK, width=2)
    for groove in range(3):
        draw.line((200 + 60 * groove, 195, 200 + 60 * groove, 245), fill=INK, width=3)
    _circle(draw, 120, 220, 25, STEEL)


def _location() -> Image.Exif:
    """Metadata as a camera might leave it, all of it invented; the published copy must carry none."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Invented Camera Works", "No Such Camera 1"
    exif.get_ifd(0x8825).update({1: "N", 2: (12.0, 34.0, 56.0), 3: "W", 4: (65.0, 43.0, 21.0)})  # somewhere at sea
    return exif
