"""Meshes: vertices (N, 3) in mm, triangles (M, 3), texture coordinates (N, 2), and where each texel lies."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.path_traced.patterns import Noise
from tests.path_traced.world import Array, Body, Surface, moved

FACES: tuple[Callable[[Array, Array, Array], tuple[Array, Array, Array]], ...] = (
    lambda a, b, c: (a, b, c),
    lambda a, b, c: (-a, b, -c),
    lambda a, b, c: (c, a, b),
    lambda a, b, c: (-c, -a, b),
    lambda a, b, c: (-a, c, b),
    lambda a, b, c: (a, -c, b),
)
"""Points of a cube's sides: top, bottom, +x, -x, +y (far), -y (near)."""
COLUMNS, ROWS = 3, 2
"""Tiles of a block's texture, one a side."""


@dataclass(frozen=True, eq=False)
class Mesh:
    vertices: Array
    triangles: NDArray[np.uint32]
    uv: Array


def _grid(rows: int, columns: int) -> NDArray[np.uint32]:
    i = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = i[:-1, :-1].ravel(), i[:-1, 1:].ravel(), i[1:, 1:].ravel(), i[1:, :-1].ravel()
    return np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.uint32)


def joined(meshes: list[Mesh]) -> Mesh:
    starts = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes[:-1]])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.triangles + int(start) for mesh, start in zip(meshes, starts, strict=True)]).astype(
            np.uint32
        ),
        np.concatenate([mesh.uv for mesh in meshes]),
    )


# Blocks: bars, loaves, boards, mould walls ----------------------------------------------------------


def in_loaf(points: Array, body: Body | Surface) -> Array:
    """Own millimetres to those of the loaf that a body was cut from."""
    if isinstance(body, Surface):
        return points
    return np.asarray(points @ np.array(body.axes).T + np.array(body.origin))


def top_relief(where: Array, kind: str, height_mm: float, seed: int) -> Array:
    """How a maker leaves the top of the batter: height over its level at loaf places (N, 3)."""
    noise = Noise(seed)
    flat = where * [1, 1, 0]
    x, y = flat[:, 0], flat[:, 1]
    if kind == "spooned":  # swept from both sides to a ridge along the middle, in strokes
        stroke = y / 13 + 0.55 * noise.at(flat, 24) + 0.25 * np.sin(x / 9)
        ridge = np.exp(-((x / 19) ** 2))
        folds = 1 - np.abs(2 * np.mod(stroke, 1) - 1) ** 1.7
        rise = 0.55 * ridge + 0.45 * folds * (0.4 + 0.6 * ridge) + 0.10 * noise.at(flat, 6)
    elif kind == "peaks":  # lifted with the back of a spoon: soft peaks that lean
        bent = flat + 5 * np.column_stack([noise.at(flat, 17), noise.at(flat + 40, 17), 0 * x])
        a = 0.5 + 0.5 * np.sin(bent[:, 1] / 6.2 + 1.2 * np.sin(bent[:, 0] / 11))
        b = 0.5 + 0.5 * np.cos(bent[:, 0] / 7.4 + 0.8 * np.sin(bent[:, 1] / 13))
        rise = (a * b) ** 1.6 + 0.30 * a + 0.10 * noise.at(flat, 7)
    elif kind == "combed":  # drawn along with a fork
        rise = 0.5 + 0.32 * np.cos((x + 3.0 * noise.at(flat, 40)) / 1.75) + 0.15 * noise.at(flat, 22)
    else:  # level, as it settled
        rise = 0.5 + 0.25 * noise.at(flat, 30) + 0.06 * noise.at(flat, 9)
    return np.asarray(height_mm * (rise - 0.4))


def _rounded(points: Array, half: Array, radius: float) -> Array:
    core = np.clip(points, -(half - radius), half - radius)
    away = points - core
    length = np.linalg.norm(away, axis=1, keepdims=True)
    return np.where(length > 1e-6, core + away / np.maximum(length, 1e-6) * radius, points)


def block(
    body: Body | Surface,
    size: tuple[float, float, float],
    radius: float = 1.5,
    cells: int = 60,
    top: str = "",
    top_mm: float = 0.0,
    loaf_height: float = 0.0,
    seed: int = 0,
    warp_mm: float = 0.12,
    margin: float = 0.008,
    **_: Any,
) -> Mesh:
    """A block with rounded edges about its middle, its loaf's top shaped where it has a part of it."""
    half = np.array(size) / 2
    line = np.linspace(-1, 1, cells)
    line = np.sign(line) * np.abs(line) ** 0.85  # finer at the edges
    a, b = (grid.ravel() for grid in np.meshgrid(line, line))
    noise = Noise(seed + 5)
    meshes = []
    for number, face in enumerate(FACES):
        points = _rounded(np.column_stack(face(a, b, np.ones_like(a))) * half, half, radius)
        if warp_mm:
            points = points + warp_mm * np.column_stack([noise.at(points + shift, 31) for shift in (0.0, 60.0, 120.0)])
        if top and isinstance(body, Body):
            loaf = in_loaf(points, body)
            near_top = np.clip((loaf[:, 2] - (loaf_height - 7)) / 7, 0, 1) ** 1.4
            up = np.array(body.axes).T @ [0.0, 0.0, 1.0]
            points = points + (near_top * top_relief(loaf, top, top_mm, seed))[:, None] * up
        u = (number % COLUMNS + margin + (1 - 2 * margin) * (a + 1) / 2) / COLUMNS
        v = (number // COLUMNS + margin + (1 - 2 * margin) * (b + 1) / 2) / ROWS
        meshes.append(Mesh(points, _grid(cells, cells), np.column_stack([u, v])))
    return joined(meshes)


def block_texels(texels: int, size: tuple[float, float, float], margin: float = 0.008, **_: Any) -> Array:
    """Own places (ROWS * texels, COLUMNS * texels, 3) of a block's texels; row 0 is v = 0."""
    half = np.array(size) / 2
    line = ((np.arange(texels) + 0.5) / texels - margin) / (1 - 2 * margin) * 2 - 1
    a, b = np.meshgrid(line, line)
    tiles = [np.stack(face(a, b, np.ones_like(a)), -1) * half for face in FACES]
    return np.concatenate([np.concatenate(tiles[row * COLUMNS : (row + 1) * COLUMNS], 1) for row in range(ROWS)], 0)


# Sheets: grounds, walls, cards ----------------------------------------------------------------------


def plane(body: Body | Surface, size: tuple[float, float], cells: int = 2, sag_mm: float = 0.0, **_: Any) -> Mesh:
    """A level sheet about its middle, facing up."""
    x, y = (g.ravel() for g in np.meshgrid(np.linspace(-0.5, 0.5, cells), np.linspace(-0.5, 0.5, cells)))
    points = np.column_stack([x * size[0], y * size[1], 0 * x])
    if sag_mm:
        noise = Noise(3)
        points[:, 2] = sag_mm * (noise.at(points, 70) + 0.4 * noise.at(points, 28))
    return Mesh(points, _grid(cells, cells), np.column_stack([x + 0.5, y + 0.5]))


def plane_texels(texels: int, size: tuple[float, float], **_: Any) -> Array:
    line = (np.arange(texels) + 0.5) / texels - 0.5
    x, y = np.meshgrid(line * size[0], line * size[1])
    return np.stack([x, y, 0 * x], -1)


def curl_height(x: Array, y: Array, size: tuple[float, float], curl_mm: float, towards_deg: float) -> Array:
    """How far a curled card lifts off its tangent at its middle; x, y from its top left."""
    angle = np.radians(towards_deg)
    along = (x - size[0] / 2) * np.cos(angle) + (y - size[1] / 2) * np.sin(angle)
    return np.asarray(curl_mm * (along / (size[0] / 2)) ** 2)


def rectangles(
    body: Body | Surface,
    size: tuple[float, float],
    boxes: list[tuple[float, float, float, float]],
    lift_mm: float,
    curl_mm: float = 0.0,
    curl_deg: float = 0.0,
    cells: int = 4,
    **_: Any,
) -> Mesh:
    """Printed fields (x, y, w, h from the card's top left) that follow a card's curl, `lift_mm` over its underside."""
    meshes = []
    for x, y, w, h in boxes:
        across, down = (g.ravel() for g in np.meshgrid(np.linspace(x, x + w, cells), np.linspace(y, y + h, cells)))
        z = lift_mm + curl_height(across, down, size, curl_mm, curl_deg)
        points = np.column_stack([across - size[0] / 2, size[1] / 2 - down, z])
        meshes.append(Mesh(points, _grid(cells, cells)[:, ::-1], np.column_stack([across / size[0], down / size[1]])))
    return joined(meshes)


def field_corners(
    size: tuple[float, float],
    box: tuple[float, float, float, float],
    lift_mm: float,
    curl_mm: float = 0.0,
    curl_deg: float = 0.0,
) -> Array:
    """Corners (4, 3) of one printed field, counter-clockwise from its lower left, on a card's own axes."""
    x, y, w, h = box
    across, down = np.array([x, x + w, x + w, x]), np.array([y + h, y + h, y, y])
    z = lift_mm + curl_height(across, down, size, curl_mm, curl_deg)
    return np.column_stack([across - size[0] / 2, size[1] / 2 - down, z])


def board(
    body: Body | Surface,
    size: tuple[float, float],
    thickness: float,
    window: tuple[float, float, float, float] | None = None,
    curl_mm: float = 0.0,
    curl_deg: float = 0.0,
    side: str = "top",
    **_: Any,
) -> Mesh:
    """A card's sheet with its window cut out: its top, or its underside and edges."""
    xs, ys = np.linspace(0, size[0], 25), np.linspace(0, size[1], 19)
    if window is not None:
        xs = np.union1d(xs, [window[0], window[0] + window[2]])
        ys = np.union1d(ys, [window[1], window[1] + window[3]])
    x, y = (g.ravel() for g in np.meshgrid(xs, ys))
    bend = curl_height(x, y, size, curl_mm, curl_deg)
    base = np.column_stack([x - size[0] / 2, size[1] / 2 - y, bend])
    triangles = _grid(len(ys), len(xs))
    if window is not None:
        middle = np.column_stack([x, y])[triangles].mean(1)
        low, high = np.array(window[:2]), np.array(window[:2]) + window[2:]
        triangles = triangles[~((middle > low) & (middle < high)).all(1)]
    uv = np.column_stack([x / size[0], y / size[1]])
    up = [0.0, 0.0, thickness]
    if side == "top":
        return Mesh(base + up, triangles[:, ::-1], uv)
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    known = {tuple(edge) for edge in edges.tolist()}
    rim = np.array([edge for edge in edges.tolist() if (edge[1], edge[0]) not in known])
    n = len(base)
    walls = np.concatenate(
        [
            np.column_stack([rim[:, 0], rim[:, 1], rim[:, 1] + n]),
            np.column_stack([rim[:, 0], rim[:, 1] + n, rim[:, 0] + n]),
        ]
    )
    return Mesh(
        np.concatenate([base, base + up]),
        np.concatenate([triangles, walls[:, ::-1]]).astype(np.uint32),
        np.tile(uv, (2, 1)),
    )


# Small things ---------------------------------------------------------------------------------------


def dome(body: Body | Surface, radius: float, height: float, cells: int = 14, **_: Any) -> Mesh:
    """A bubble's cap or a drop, standing on z = 0."""
    ring, turn = (g.ravel() for g in np.meshgrid(np.linspace(0, 1, cells), np.linspace(0, 2 * np.pi, 2 * cells)))
    points = np.column_stack(
        [radius * ring * np.cos(turn), radius * ring * np.sin(turn), height * np.sqrt(np.clip(1 - ring**2, 0, 1))]
    )
    return Mesh(points, _grid(2 * cells, cells), np.column_stack([ring, turn / (2 * np.pi)]))


def petal(body: Body | Surface, length: float, seed: int = 0, cells: int = 12, **_: Any) -> Mesh:
    """A dried petal: an oval that curls up along its middle and is a little crumpled."""
    s, t = (g.ravel() for g in np.meshgrid(np.linspace(0, 1, cells), np.linspace(-1, 1, cells)))
    wide = 0.36 * length * np.sqrt(np.clip(np.sin(np.pi * np.clip(s, 0.02, 0.98)), 0, 1)) * (0.6 + 0.55 * s)
    points = np.column_stack([(s - 0.5) * length, t * wide, 0.28 * length * (0.55 * t**2 + (s - 0.4) ** 2)])
    points += 0.05 * length * np.column_stack([0 * s, 0 * s, Noise(seed).at(points, length * 0.3)])
    return Mesh(points, _grid(cells, cells), np.column_stack([s, (t + 1) / 2]))


def crumb(body: Body | Surface, size: float, seed: int = 0, **_: Any) -> Mesh:
    """An uneven grain."""
    one = block(Surface(np.zeros(1)), (size, size * 0.8, size * 0.6), size * 0.2, 7, warp_mm=0.0)
    bend = np.column_stack([Noise(seed + k).at(one.vertices, size * 0.5) for k in range(3)])
    return Mesh(one.vertices + 0.16 * size * bend, one.triangles, one.uv)


def many(body: Body | Surface, shape: str, each: list[tuple[dict[str, Any], Array]], **_: Any) -> Mesh:
    """A scatter of small things of one material as one mesh: their options and places."""
    meshes = [(SHAPES[shape](body, **options), at) for options, at in each]
    return joined([Mesh(moved(mesh.vertices, at), mesh.triangles, mesh.uv) for mesh, at in meshes])


SHAPES: dict[str, Callable[..., Mesh]] = {
    "block": block,
    "plane": plane,
    "rectangles": rectangles,
    "board": board,
    "dome": dome,
    "petal": petal,
    "crumb": crumb,
    "many": many,
}
TEXELS: dict[str, Callable[..., Array]] = {"block": block_texels, "plane": plane_texels}
