"""What a surface looks like: orange spots, white film, mottling, a gel ring. Never what it is.

Looks only inside the layers of a straightened window, against each layer's own
colour: where the whole surface is covered there is nothing to compare with, and nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from curejournal.base.messages import msg, msg_n
from curejournal.base.normal import SD_OF_MAD, SD_OF_MEAN_DEVIATION
from curejournal.colour.difference import ciede2000
from curejournal.photo.placement import Points
from curejournal.photo.window.layers import Layer
from curejournal.photo.window.rectified import PX_PER_MM, Flat

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Kind = Literal["orange spots", "white film", "mottling", "gel ring"]

# All limits are ours, chosen on drawn windows with and without faults.
# Orange is away from the layer's colour towards this hue of a* and b*, give or take, at least so far at its edge and so
# far at its heart; by so many sd of the noise around it, and together with its lightness by so many more.
SPOT_HUE_DEG, SPOT_HUE_WIDTH_DEG, SPOT_RIM, SPOT_HEART = 55.0, 50.0, 3.0, 5.0
SPOT_NOISE, SPOT_NOISE_ALL, SPOT_NOISE_LEAST = 3.0, 5.5, 0.3
# A weaker one than this must differ in lightness too: cameras make spots of colour alone from nothing.
SPOT_STEP, SPOT_LIGHTNESS = 8.0, 1.5
# More noise than the quiet step is smoothed first.
SPOT_QUIET, SPOT_BLUR_MOST_PX = 1.2, 2.2
# What is larger, or cut by the window's edge, or among other foreign colours, is more likely an embed.
SPOT_LEAST_MM, SPOT_MOST_MM, SPOT_CROWDED = 0.7, 4.0, 0.25
# A spot fills at least this share of the circle round it; noise is taken from so wide a neighbourhood.
SPOT_ROUND, NOISE_AROUND_MM = 0.35, 15.0
# What is so much longer than wide, or so strongly coloured at its heart, is a petal.
PETAL_SLENDER, PETAL_HEART = 1.8, 60.0
# A film is lighter than the layer and less coloured, in one go; on a layer this light it cannot be seen.
FILM_LIGHTER, FILM_SHARE_LEAST, FILM_LAYER_MOST = 2.5, 0.03, 93.0
FILM_GRAIN_MM = 1.5
# Standard deviation of L* at a grain of 1 to 8 mm; an even, drawn surface without mottling stays below 0.4.
MOTTLED_FROM = 1.6
# Difference of L* between the middle and the rim, and the share of the L* variance that it explains.
RING_STEP, RING_EXPLAINS = 3.0, 0.5
# The least layer to look for a ring in, 25 mm²; the share of it that a middle has; how much of the middle is one piece.
RING_LEAST_PX, RING_SHARE, RING_WHOLE = 400, (0.08, 0.8), 0.9


@dataclass(frozen=True)
class Finding:
    """Something seen on a surface, to be confirmed by the maker.

    `count` and `area_mm2` for spots; `share` of what is seen for spots and film; `strength` in L* for mottling and a
    gel ring; `outlines` in full-size pixels of the photo; `words` say what it looks like.
    """

    kind: Kind
    words: str
    outlines: tuple[Points, ...] = ()
    count: int | None = None
    area_mm2: float | None = None
    share: float | None = None
    strength: float | None = None


def inspect_surface(flat: Flat, layers: NDArray[np.intp], found_layers: Sequence[Layer] = ()) -> tuple[Finding, ...]:
    """Find what the surface of a window looks like.

    Parameters
    ----------
    flat : Flat
        The straightened window.
    layers : ndarray of shape (H, W)
        The layer that each pixel lies on; a film's is the one beneath it.
    found_layers : sequence of Layer
        The layers themselves, where a gelled middle may be one of its own.

    Returns
    -------
    tuple of Finding
        Empty for a clear surface.
    """
    found: list[Finding] = []
    lab = np.stack([cv2.medianBlur(flat.lab[..., k].astype(np.float32), 3) for k in range(3)], axis=-1).astype(float)
    usual = np.zeros_like(lab)
    inner = np.zeros(layers.shape, bool)
    for number in np.unique(layers):
        mask = layers == number
        usual[mask] = np.median(lab[mask], axis=0)
        # Seams mix two colours, and a mixture may look like anything.
        inner |= cv2.erode(mask.astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=1).astype(bool)
    inner &= ~flat.burnt
    spots = _spots(lab, usual, inner)
    if spots:
        area = float(sum(mask.sum() for mask in spots)) / PX_PER_MM**2
        what = msg_n("{number} orange spot", "{number} orange spots", len(spots))
        words = msg("Looks like {what}, {area:.1f} mm² together.", what=what, area=area)
        outlines = tuple(_ring(flat, mask) for mask in spots)
        of_seen = area * PX_PER_MM**2 / max(int(inner.sum()), 1)
        found.append(Finding("orange spots", words, outlines, len(spots), round(area, 2), round(of_seen, 5)))
    film = _film(lab, usual, inner)
    share = float(film.sum() / max(inner.sum(), 1))
    if share >= FILM_SHARE_LEAST:
        words = msg("Looks like a white film on {share:.0f} % of what is seen.", share=100 * share)
        found.append(Finding("white film", words, tuple(_outlines(flat, film)), share=round(share, 3)))
        inner &= ~film
    gelled = _gelled(found_layers)
    found += [gelled] if gelled else _unevenness(flat, lab, layers, inner)
    return tuple(found)


def _gelled(layers: Sequence[Layer]) -> Finding | None:
    """A middle of another colour inside a rim, where the two are layers."""
    of = {layer.form: layer for layer in layers}
    if not {"middle", "rim"} <= set(of):
        return None
    middle, rim = of["middle"], of["rim"]
    step = middle.lab[0] - rim.lab[0]
    return _gel_ring(step, middle.outline, round(middle.share, 3))


def _gel_ring(step: float, outline: Points, share: float | None = None) -> Finding:
    """A middle that is lighter than the rim by a step in L*, or darker if that is negative."""
    lighter = msg("Looks like a gel ring: the middle is lighter by L* {step:.1f}.", step=step)
    darker = msg("Looks like a gel ring: the middle is darker by L* {step:.1f}.", step=-step)
    words = lighter if step > 0 else darker
    return Finding("gel ring", words, (outline,), share=share, strength=round(abs(step), 2))


def _spots(lab: Floats, usual: Floats, inner: Mask) -> list[Mask]:
    """Compact places that are clearly more orange than their layer and stand alone, each as a mask."""
    if not inner.any():
        return []
    away = (lab - usual) * inner[..., None]
    noise = SD_OF_MAD * float(np.median(np.abs(_orange(away)[0][inner])))
    if noise > SPOT_QUIET:
        # Over a third of a millimetre and more a spot stays, and the noise of a dark photo goes.
        away = np.asarray(cv2.GaussianBlur(away, (0, 0), min(noise, SPOT_BLUR_MOST_PX)), float)
    orange, beside = _orange(away)
    lightness = np.abs(away[..., 0])
    noise_orange, noise_lightness = _noise_around(orange), _noise_around(lightness)
    step = np.hypot(orange, beside)
    foreign = ~inner | (step > np.maximum(SPOT_STEP, SPOT_NOISE * noise_orange)) | (lightness > SPOT_STEP)
    place = inner & (orange > SPOT_RIM) & (beside < np.tan(np.radians(SPOT_HUE_WIDTH_DEG)) * orange)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(place.astype(np.uint8), connectivity=8)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(PX_PER_MM) + 1,) * 2)
    spots = []
    for number in range(1, count):
        x, y, w, h, size = stats[number]
        cut = x == 0 or y == 0 or x + w == step.shape[1] or y + h == step.shape[0]
        if cut or size < 4:
            continue
        mask = labels == number
        heart, unsure = float(np.median(np.sort(orange[mask])[-5:])), float(noise_orange[mask].mean())
        if heart < max(SPOT_HEART, SPOT_NOISE * unsure):
            continue
        ring = cv2.dilate(mask.astype(np.uint8), disc).astype(bool) & ~mask
        mask &= orange > heart / 2  # the lens blurs a small spot: its size is where half of its colour is reached
        lighter = float(abs(away[..., 0][mask].mean()))
        clear = np.hypot(heart / unsure, lighter / float(noise_lightness[mask].mean())) >= SPOT_NOISE_ALL
        if not clear or (heart < SPOT_STEP and lighter < SPOT_LIGHTNESS):
            continue
        rows, columns = np.nonzero(mask)
        if heart > PETAL_HEART or _slenderness(rows, columns) > PETAL_SLENDER:
            continue
        long = (max(np.ptp(rows), np.ptp(columns)) + 1) / PX_PER_MM
        area = mask.sum() / PX_PER_MM**2
        compact = area >= np.pi / 4 * SPOT_LEAST_MM**2 and area > SPOT_ROUND * np.pi / 4 * long**2
        if compact and long <= SPOT_MOST_MM and foreign[ring].mean() < SPOT_CROWDED:
            spots.append(np.asarray(mask))
    return spots


def _slenderness(rows: NDArray[np.intp], columns: NDArray[np.intp]) -> float:
    """How much longer than wide some pixels lie, by their second moments; each pixel is a square itself."""
    scatter = np.cov(np.stack([rows, columns]), bias=True) + np.eye(2) / 12
    short, long = np.linalg.eigvalsh(scatter)
    return float(np.sqrt(long / short))


def _orange(away: Floats) -> tuple[Floats, Floats]:
    """How far colours differ towards orange and across it, of differences (..., 3) in CIELAB."""
    turn = np.radians(SPOT_HUE_DEG)
    a, b = away[..., 1], away[..., 2]
    return a * np.cos(turn) + b * np.sin(turn), np.abs(b * np.cos(turn) - a * np.sin(turn))


def _noise_around(values: Floats) -> Floats:
    """The standard deviation of what lies within some 15 mm, as far as it is noise and no fault of its own."""
    small = np.minimum(np.abs(values), SPOT_STEP).astype(np.float32)
    mean = cv2.blur(small, (round(NOISE_AROUND_MM * PX_PER_MM) | 1,) * 2)
    return np.maximum(SD_OF_MEAN_DEVIATION * np.asarray(mean, float), SPOT_NOISE_LEAST)


def _film(lab: Floats, usual: Floats, inner: Mask) -> Mask:
    """Places lighter and less coloured than their layer, larger than a crumb."""
    chroma, own_chroma = np.hypot(lab[..., 1], lab[..., 2]), np.hypot(usual[..., 1], usual[..., 2])
    lighter = lab[..., 0] - usual[..., 0]
    paler = own_chroma - chroma
    # Paler by at least what a white veil of that lightness takes: bright mottling keeps its chroma.
    veil = lighter / np.maximum(97.0 - usual[..., 0], 1.0)
    film = inner & (lighter > FILM_LIGHTER) & (usual[..., 0] < FILM_LAYER_MOST) & (paler > 0.5 * veil * own_chroma)
    grain = round(FILM_GRAIN_MM * PX_PER_MM) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (grain, grain))
    return np.asarray(cv2.morphologyEx(film.astype(np.uint8), cv2.MORPH_OPEN, disc).astype(bool))


def _unevenness(flat: Flat, lab: Floats, layers: NDArray[np.intp], inner: Mask) -> list[Finding]:
    """A gel ring if one step in lightness between the middle and the rim explains most; else mottling."""
    found: list[Finding] = []
    largest = int(np.argmax(np.bincount(layers[inner]))) if inner.any() else 0
    mask = inner & (layers == largest)
    if mask.sum() < RING_LEAST_PX:
        return found
    off = ciede2000(lab, np.broadcast_to(np.median(lab[mask], axis=0), lab.shape))
    mask &= off < 8.0  # embeds and crumbs are not the surface
    lightness = np.where(mask, lab[..., 0], np.median(lab[..., 0][mask]))
    smooth = np.asarray(cv2.GaussianBlur(lightness, (0, 0), 0.5 * PX_PER_MM), float)
    slope = cv2.GaussianBlur(smooth, (0, 0), 8 * PX_PER_MM)
    ring = _ring_in(flat, smooth, mask)
    if ring is not None:
        return [ring]
    strength = float(np.std((smooth - slope)[mask]))
    if strength >= MOTTLED_FROM:
        words = msg("Looks mottled: L* varies by ± {strength:.1f} from place to place.", strength=strength)
        found.append(Finding("mottling", words, strength=round(strength, 2)))
    return found


def _ring_in(flat: Flat, lightness: Floats, mask: Mask) -> Finding | None:
    """A region in the middle that is darker or lighter than the rim, with one border."""
    values = lightness[mask]
    low, high = np.percentile(values, (2, 98))
    if high - low < RING_STEP:
        return None
    scaled = np.clip((lightness - low) / (high - low) * 255, 0, 255).astype(np.uint8)
    limit, _ = cv2.threshold(scaled[mask].reshape(-1, 1), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    for inside in (mask & (scaled <= limit), mask & (scaled > limit)):
        count, labels, stats, _ = cv2.connectedComponentsWithStats(inside.astype(np.uint8))
        if count < 2:
            continue
        number = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
        part = labels == number
        x, y, w, h = stats[number, :4]
        touches = x <= 4 or y <= 4 or x + w >= mask.shape[1] - 4 or y + h >= mask.shape[0] - 4
        share = part.sum() / mask.sum()
        if touches or not RING_SHARE[0] < share < RING_SHARE[1] or part.sum() < RING_WHOLE * inside.sum():
            continue
        step = float(lightness[part].mean() - lightness[mask & ~part].mean())
        explained = step**2 * share * (1 - share) / max(float(values.var()), 1e-9)
        if abs(step) >= RING_STEP and explained >= RING_EXPLAINS:
            return _gel_ring(step, flat.outline(part))
    return None


def _ring(flat: Flat, mask: Mask) -> Points:
    """A closed line round a small place, a little outside it."""
    rows, columns = np.nonzero(mask)
    centre = (float(columns.mean()), float(rows.mean()))
    radius = max(float(np.hypot(columns - centre[0], rows - centre[1]).max()), 1.0) + PX_PER_MM / 2
    turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    return flat.to_pixels(np.column_stack([centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)]))


def _outlines(flat: Flat, mask: Mask) -> list[Points]:
    """The pieces of a mask, each with its own line, the largest ten."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    order = sorted(range(1, count), key=lambda number: -stats[number, cv2.CC_STAT_AREA])[:10]
    return [outline for outline in (flat.outline(labels == number) for number in order) if outline]
