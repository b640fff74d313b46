"""Solid patterns: how the portions of a body share the places in it. Points are (N, 3) in loaf millimetres.

The loaf's cross-section is x (width) and z (height, 0 at the bottom); y runs along it. Each pattern gives shares
(N, portions) that add up to 1.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.path_traced.world import Array, Pattern

Shares = NDArray[np.float64]


class Noise:
    """Smooth random values about 0 with standard deviation about 1, the same for the same seed."""

    def __init__(self, seed: int) -> None:
        self.lattice = np.random.default_rng(seed).standard_normal(32**3).astype(np.float32)

    def at(self, points: Array, grain_mm: float | tuple[float, float, float]) -> Array:
        """Value noise with lattice cells of this size (trilinear between them, faded)."""
        where = np.asarray(points / np.asarray(grain_mm, float), np.float32)
        floor = np.floor(where)
        t = where - floor
        t = t * t * t * (t * (6 * t - 15) + 10)
        low = floor.astype(np.int32) & 31
        high = (low + 1) & 31
        x0, x1, y0, y1 = low[:, 0] << 10, high[:, 0] << 10, low[:, 1] << 5, high[:, 1] << 5
        z0, z1, get = low[:, 2], high[:, 2], self.lattice.take
        tx, ty, tz = t.T

        def along_z(base: NDArray[np.int32]) -> NDArray[np.float32]:
            start = get(base + z0)
            return start + tz * (get(base + z1) - start)

        near, far = along_z(x0 + y0), along_z(x1 + y0)
        near, far = near + ty * (along_z(x0 + y1) - near), far + ty * (along_z(x1 + y1) - far)
        return np.asarray((near + tx * (far - near)) * 1.6, float)

    def rough(self, points: Array, grain_mm: float | tuple[float, float, float], octaves: int = 3) -> Array:
        """Several sizes of it added, each half as coarse and strong as the last."""
        grain = np.asarray(grain_mm, float)
        layers = [self.at(points + 17.3 * k, tuple(np.broadcast_to(grain / 2**k, 3))) * 0.5**k for k in range(octaves)]
        return np.sum(layers, axis=0) / 1.2


def soft(signed_mm: Array, width_mm: float = 0.35) -> Array:
    """0 to 1 across an edge of this width."""
    return np.asarray(1 / (1 + np.exp(-np.clip(signed_mm / width_mm * 4, -40, 40))))


def _stack(covers: list[Array]) -> Shares:
    """Shares of portions laid over one another, the first below all."""
    shares = [np.ones(len(covers[0]))]
    for cover in covers:
        shares = [share * (1 - cover) for share in shares] + [cover]
    return np.column_stack(shares)


def plain(points: Array, seed: int, **_: Any) -> Shares:
    return np.ones((len(points), 1))


def layers(points: Array, seed: int, edges: list[float], wave_mm: float = 1.5, **_: Any) -> Shares:
    """Poured one upon another; `edges` are heights in mm."""
    noise = Noise(seed)
    covers = []
    for k, edge in enumerate(edges):
        wave = wave_mm * (
            noise.at(points + 50 * k, (34, 60, 1e6)) + 0.35 * noise.at(points - 31 * k, (9, 14, 1e6))
        ) + 0.12 * noise.at(points + 7 * k, 1.6)
        covers.append(soft(points[:, 2] - edge - wave))
    return _stack(covers)


def swirl(
    points: Array,
    seed: int,
    portions: int = 2,
    grain_mm: float = 24.0,
    fold: float = 1.0,
    shares: tuple[float, ...] | None = None,
    **_: Any,
) -> Shares:
    """Poured into one another and stirred: bands folded by slow currents, with feathered thin ends."""
    noise = Noise(seed)
    across = grain_mm * np.array([1.0, 2.2, 1.0])
    current = [noise.rough(points + shift, tuple(across), 2) for shift in (0.0, 91.0, 203.0)]
    p = points + fold * 0.55 * grain_mm * np.column_stack(current)
    fine = [noise.at(p + shift, tuple(across / 3.2)) for shift in (11.0, 57.0)]
    height = p[:, 2] / grain_mm * 2.1 + 0.9 * noise.at(p, tuple(across * 1.3)) + fold * 0.22 * fine[0]
    phase = np.mod(height + 0.10 * fine[1], 1.0)
    widths = np.array(shares or [1 / portions] * portions)
    ends = np.cumsum(widths) / widths.sum()
    result = np.zeros((len(points), portions))
    scale = grain_mm / 2.1
    for k in range(portions):
        start = ends[k - 1] if k else 0.0
        inside = np.minimum(phase - start, ends[k] - phase) * scale
        result[:, k] = soft(inside, 0.6)
    return np.asarray(result / result.sum(1, keepdims=True))


def drops(
    points: Array, seed: int, portions: int = 2, size_mm: float = 11.0, width_mm: float = 80.0, **_: Any
) -> Shares:
    """Dropped from a height: rounded plumes that hang into the base and drag lighter tails up."""
    noise = Noise(seed)
    rng = np.random.default_rng(seed)
    bend = np.column_stack([noise.rough(points + shift, (22, 48, 22), 2) for shift in (0.0, 77.0)])
    x, z = points[:, 0] + 4.0 * bend[:, 0], points[:, 2] + 3.0 * bend[:, 1]
    covers = []
    for _ in range(portions - 1):
        cover = np.full(len(points), -1e3)
        for _ in range(int(9 + 3 * rng.random())):
            cx, cz, size = rng.uniform(-0.5, 0.5) * width_mm, rng.uniform(2, 58), size_mm * rng.uniform(0.55, 1.3)
            wide = size * (1.15 - 0.5 * np.clip((z - cz) / (1.6 * size), -0.6, 1.6))
            tall = np.where(z > cz, 2.1, 0.75) * size
            away = np.hypot((x - cx) / np.maximum(wide, 0.5), (z - cz) / tall)
            cover = np.maximum(cover, (1 - away) * size)
        covers.append(soft(cover, 0.5))
    return _stack(covers)


def veins(points: Array, seed: int, width_mm: float = 1.6, grain_mm: float = 26.0, **_: Any) -> Shares:
    """Marble: a base with thin veins of another portion."""
    noise = Noise(seed)
    bent = points + 0.4 * grain_mm * np.column_stack(
        [noise.rough(points + shift, (grain_mm, 2 * grain_mm, grain_mm), 2) for shift in (0.0, 40.0, 80.0)]
    )
    value = np.abs(noise.at(bent, (grain_mm, 2.4 * grain_mm, grain_mm)))
    strength = 0.5 + 0.5 * np.tanh(1.5 * noise.at(points + 9, 1.5 * grain_mm) + 0.6)
    vein = soft(width_mm * strength - value * grain_mm * 0.42, 0.7)
    cloud = 0.22 * soft(noise.at(bent + 130, 1.2 * grain_mm) - 0.9, 1.2)
    return _stack([np.clip(vein + cloud, 0, 1)])


def gel(points: Array, seed: int, radius: float = 0.62, half: tuple[float, float] = (40.0, 30.0), **_: Any) -> Shares:
    """Partly gelled: the middle went through gel, the rim did not; portion 2 is the middle."""
    noise = Noise(seed)
    x, z = points[:, 0] / half[0], (points[:, 2] - half[1]) / half[1]
    away = (np.abs(x) ** 2.6 + np.abs(z) ** 2.6) ** (1 / 2.6)
    edge = radius + 0.05 * noise.at(points, (25, 60, 25))
    return _stack([soft((edge - away) * half[1], 2.6)])


def embeds(points: Array, seed: int, count: int = 7, size_mm: float = 6.0, width_mm: float = 80.0, **_: Any) -> Shares:
    """Pieces of other soap in the batter: cubes and rods, turned anyhow."""
    rng = np.random.default_rng(seed)
    noise = Noise(seed)
    cover = np.full(len(points), -1e3)
    for _ in range(count):
        centre = np.array([rng.uniform(-0.45, 0.45) * width_mm, rng.uniform(-14, 14), rng.uniform(6, 54)])
        turn, _ = np.linalg.qr(rng.standard_normal((3, 3)))
        half = size_mm * rng.uniform(0.6, 1.2, 3)
        own = np.abs((points - centre) @ turn.T) - half
        cover = np.maximum(cover, -own.max(1))
    return _stack([soft(cover + 0.12 * noise.at(points, 1.2), 0.3)])


def specks(points: Array, seed: int, share: float = 0.04, size_mm: float = 0.7, **_: Any) -> Shares:
    """Ground bran, seeds, clay that was not sieved: small grains everywhere."""
    noise = Noise(seed)
    value = noise.at(points, size_mm) + 0.5 * noise.at(points + 5.1, size_mm * 2.3)
    bound = np.quantile(value, 1 - share)
    return _stack([np.clip((value - bound) * 6, 0, 1)])


def wood(points: Array, seed: int, ring_mm: float = 13.0, plank_mm: float = 170.0, **_: Any) -> Shares:
    """Boards along x: base, dark rings and pores, and the joints between boards."""
    noise = Noise(seed)
    plank = np.floor(points[:, 1] / plank_mm)
    own = points + np.column_stack([173.0 * plank, 0 * plank, 41.0 * plank])
    bend = own[:, 1] + 16 * noise.at(own * [1, 1, 0], (420, 70, 1)) + 4 * noise.at(own * [1, 1, 0], (130, 24, 1))
    rings = np.mod(bend / ring_mm + 0.4 * noise.at(own, (300, 30, 40)), 1)
    dark = 0.12 + 0.62 * rings**2.2 + 0.10 * noise.at(own, (46, 0.8, 9)) + 0.10 * noise.at(own, (170, 9, 40))
    pores = np.clip(noise.at(own, (9, 0.5, 5)) - 1.7, 0, 1) * 0.55
    joint = soft(0.5 - np.abs(points[:, 1] / plank_mm - np.round(points[:, 1] / plank_mm)) * plank_mm, 0.4)
    return _stack([np.clip(dark, 0, 1), np.clip(pores + joint, 0, 1)])


def cloth(points: Array, seed: int, **_: Any) -> Shares:
    """Plain weave, seen as threads of uneven strength."""
    noise = Noise(seed)
    x, y = points[:, 0], points[:, 1]
    weave = 0.5 + 0.28 * np.sin(x * 2.9) * np.sin(y * 2.9)
    slub = (
        0.16 * noise.at(points, (40, 1.3, 1)) + 0.16 * noise.at(points + 9, (1.3, 40, 1)) + 0.1 * noise.at(points, 120)
    )
    return _stack([np.clip(weave + slub, 0, 1)])


def stone(points: Array, seed: int, **_: Any) -> Shares:
    """Clouded and grained."""
    noise = Noise(seed)
    return _stack([np.clip(0.42 + 0.20 * noise.rough(points, 120, 6) + 0.08 * noise.at(points, 1.6), 0, 1)])


PATTERNS: dict[str, Callable[..., Shares]] = {
    "plain": plain,
    "layers": layers,
    "swirl": swirl,
    "drops": drops,
    "veins": veins,
    "gel": gel,
    "embeds": embeds,
    "specks": specks,
    "wood": wood,
    "cloth": cloth,
    "stone": stone,
}


def shares_of(pattern: Pattern, points: Array) -> Shares:
    """Shares (N, portions) of the portions at these places.

    Option `also` overlays a second pattern: its last portions come after those of the first.
    """
    options = dict(pattern.options)
    also = options.pop("also", None)
    shares = PATTERNS[pattern.name](points, pattern.seed, **options)
    if also is None:
        return shares
    over = PATTERNS[also["name"]](points, pattern.seed + 1, **{k: v for k, v in also.items() if k != "name"})
    return np.column_stack([shares * over[:, :1], over[:, 1:]])
