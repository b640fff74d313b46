"""Drawn windows of soap, seen by the plain camera: what `draw_card` cannot show."""

from __future__ import annotations

from datetime import datetime

from PIL import Image

from curejournal.photo.card import Card, built_in_card_text, read_card
from tests.scene_items import Lab, Paint
from tests.scenes import Laid, Place, Rendered, Scene, Soap, View, card_named, render

WINDOW_MM = (70.0, 52.0)


def window() -> Card:
    return read_card(built_in_card_text("window"))


def drawn(
    *labs: Lab,
    seed: int = 0,
    width_mm: float = 210.0,
    turn_deg: float = 0.0,
    tag: str = "",
    at: datetime | None = None,
    scene: dict[str, object] | None = None,
    **soap: object,
) -> Rendered:
    """The window card over soap of some colours; `soap` are fields of `Soap`, `scene` of `Scene`."""
    card = card_named("window")
    portions = tuple((f"portion {k + 1}", Paint(lab)) for k, lab in enumerate(labs))
    bar = Soap(portions, WINDOW_MM, Place(0, 0, turn_deg), **soap)  # type: ignore[arg-type]
    laid = Laid(card, Place(), paper=Paint((100.0, 0.0, 0.0)), slot_texts={"batch_tag": tag} if tag else {})
    options = {"exposure_ev": -0.3, "view": View(width_mm=width_mm), **(scene or {})}
    return render(Scene((bar, laid), **options), seed, taken(at))  # type: ignore[arg-type]


def taken(at: datetime | None) -> Image.Exif:
    """EXIF as a phone writes it: the local time, and its offset if there is one (Exif 2.31)."""
    tags = Image.Exif()
    if at is not None:
        tags[0x010F] = "rendered"
        inner = tags.get_ifd(0x8769)
        inner[0x9003] = at.strftime("%Y:%m:%d %H:%M:%S")
        if at.tzinfo is not None:
            offset = at.strftime("%z")
            inner[0x9011] = f"{offset[:3]}:{offset[3:]}"
    return tags
