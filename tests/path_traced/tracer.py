"""Traces a shot's light with Mitsuba 3 to what the camera's sensor gets of it: the one module that needs it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.path_traced.patterns import Noise, shares_of, soft
from tests.path_traced.shapes import SHAPES, TEXELS, field_corners, in_loaf
from tests.path_traced.world import NM, Array, Body, Finish, Lamp, Shot, Surface, Thing, moved

DEBIANS_LLVM = Path("/usr/lib/x86_64-linux-gnu/libLLVM.so.19.1")


def start(variant: str = "") -> Any:
    """Mitsuba with a spectral variant: on a GPU where there is one, else on the processor.

    `MITSUBA_VARIANT` decides if it is set. On the processor it needs LLVM: Debian's package libllvm19, or another
    one at `DRJIT_LIBLLVM_PATH`.
    """
    if DEBIANS_LLVM.exists():
        os.environ.setdefault("DRJIT_LIBLLVM_PATH", str(DEBIANS_LLVM))
    import mitsuba

    wanted = variant or os.environ.get("MITSUBA_VARIANT", "")
    if not wanted:
        wanted = "cuda_ad_spectral" if Path("/dev/nvidia0").exists() else "llvm_ad_spectral"
    mitsuba.set_variant(wanted)
    return mitsuba


def _spectrum(values: Array) -> dict[str, Any]:
    return {
        "type": "regular",
        "wavelength_min": float(NM[0]),
        "wavelength_max": float(NM[-1]),
        "values": ", ".join(f"{value:.6g}" for value in values),
    }


def _plain(base: Array, finish: Finish) -> dict[str, Any]:
    matt = {"type": "diffuse", "reflectance": _spectrum(base)}
    if finish.matt >= 1:
        return matt
    glossy = {
        "type": "roughplastic",
        "diffuse_reflectance": _spectrum(base),
        "alpha": finish.roughness,
        "int_ior": 1.45,
        "distribution": finish.model,
        "nonlinear": True,
    }
    if finish.matt <= 0:
        return glossy
    return {"type": "blendbsdf", "weight": {"type": "uniform", "value": finish.matt}, "a": glossy, "b": matt}


class _Builder:
    """Turns the parts of a shot into what Mitsuba loads."""

    def __init__(self, mi: Any) -> None:
        self.mi = mi

    def texture(self, image: Array) -> dict[str, Any]:
        data = self.mi.TensorXf(np.ascontiguousarray(image, np.float32)[..., None])
        return {"type": "bitmap", "data": data, "raw": True, "filter_type": "bilinear", "wrap_mode": "clamp"}

    def blend(self, weight: Array, a: dict[str, Any], b: dict[str, Any]) -> dict[str, Any]:
        return {"type": "blendbsdf", "weight": self.texture(np.clip(weight, 0, 1)), "a": a, "b": b}

    def surface(self, surface: Surface, factor: float = 1.0) -> dict[str, Any]:
        return _plain(surface.finish.base_for(surface.wanted * factor), surface.finish)

    def body(self, thing: Thing, body: Body) -> dict[str, Any]:
        texels = TEXELS[thing.shape](body.texels, **thing.options)
        where = in_loaf(texels.reshape(-1, 3), body)
        shape = texels.shape[:2]
        noise = Noise(body.pattern.seed + 77)
        mottle = np.clip(0.5 + 0.22 * noise.rough(where, 9.0, 4), 0, 1).reshape(shape) if body.mottling else None
        shares = shares_of(body.pattern, where).reshape(*shape, -1)
        looks = []
        for portion in body.portions:
            if mottle is None:
                looks.append(self.surface(portion))
            else:
                dark, light = (self.surface(portion, 1 + sign * 2 * body.mottling) for sign in (-1, 1))
                looks.append(self.blend(mottle, dark, light))
        whole, below = looks[0], shares[..., 0].copy()
        for look, share in zip(looks[1:], np.moveaxis(shares, -1, 0)[1:], strict=True):
            below = below + share
            whole = self.blend(share / np.maximum(below, 1e-6), whole, look)
        if body.relief_mm:
            height = relief(body.relief, where, noise).reshape(shape)
            whole = {"type": "bumpmap", "height": self.texture(height), "scale": body.relief_mm, "b": whole}
        return whole

    def flat(self, thing: Thing) -> dict[str, Any]:
        """A printed field: flat enough at its size to need no mesh, which takes far longer to load."""
        corners = moved(field_corners(**thing.options), thing.place)
        right, up = (corners[1] - corners[0]) / 2, (corners[3] - corners[0]) / 2
        matrix = np.eye(4)
        matrix[:3, :] = np.column_stack([right, up, np.cross(right, up), corners.mean(0)])
        assert isinstance(thing.made_of, Surface)
        look = self.surface(thing.made_of)
        return {"type": "rectangle", "to_world": self.mi.ScalarTransform4f(matrix), "b": look}

    def mesh(self, name: str, thing: Thing) -> Any:
        if thing.shape == "field":
            return self.flat(thing)
        made = SHAPES[thing.shape](thing.made_of, **thing.options)
        look = self.body(thing, thing.made_of) if isinstance(thing.made_of, Body) else self.surface(thing.made_of)
        if thing.shape in ("board", "rectangles", "plane", "many"):
            look = {"type": "twosided", "b": look}
        properties = self.mi.Properties()
        properties["bsdf"] = self.mi.load_dict(look)
        smooth = thing.shape in ("many", "block")
        mesh = self.mi.Mesh(
            name, len(made.vertices), len(made.triangles), has_vertex_texcoords=True, props=properties,
            has_vertex_normals=smooth,
        )  # fmt: skip
        inner = self.mi.traverse(mesh)
        inner["vertex_positions"] = moved(made.vertices, thing.place).astype(np.float32).ravel()
        inner["faces"] = made.triangles.ravel()
        inner["vertex_texcoords"] = made.uv.astype(np.float32).ravel()
        inner.update()
        if smooth:
            mesh.recompute_vertex_normals()
        return mesh

    def lamp(self, lamp: Lamp) -> dict[str, Any]:
        shine = {"type": "constant" if lamp.half is None else "area", "radiance": _spectrum(lamp.spectrum * lamp.power)}
        if lamp.half is None:
            return shine
        transform = self.mi.ScalarTransform4f
        up = [0, 0, 1] if abs(lamp.at[0] - lamp.towards[0]) + abs(lamp.at[1] - lamp.towards[1]) > 1 else [0, 1, 0]
        at = transform().look_at(list(lamp.at), list(lamp.towards), up) @ transform().scale([*lamp.half, 1])
        return {"type": "rectangle", "to_world": at, "emitter": shine}

    def sensor(self, shot: Shot) -> dict[str, Any]:
        lens = shot.lens
        film = {"type": "specfilm", "width": lens.size[0], "height": lens.size[1], "component_format": "float32"}
        film["rfilter"] = {"type": "gaussian"}
        for number, channel in enumerate(shot.camera.sensitivities.T):
            film[f"band{number}"] = _spectrum(channel)
        away = float(np.linalg.norm(np.subtract(lens.at, lens.towards)))
        return {
            "type": "thinlens",
            "fov": lens.fov,
            "fov_axis": "larger",
            "aperture_radius": lens.aperture_mm,
            "focus_distance": lens.focus_mm or away,
            "to_world": self.mi.ScalarTransform4f().look_at(list(lens.at), list(lens.towards), list(lens.up)),
            "near_clip": 5.0,
            "far_clip": 20000.0,
            "film": film,
            "sampler": {"type": "independent", "sample_count": shot.samples},
        }


def relief(kind: str, where: Array, noise: Noise) -> Array:
    """Fine heights at loaf places: the marks of a wire, a pitted or grained face; about 1 from deep to high."""
    if kind == "cut":  # drawn along z by a wire that lies along x, with a chatter now and then
        streak = noise.at(where, (0.9, 40.0, 55.0)) + 0.6 * noise.at(where + 3, (0.45, 40.0, 38.0))
        chatter = np.sin(where[:, 2] / 0.55 + 1.5 * noise.at(where, (60.0, 9.0, 11.0)))
        chatter *= np.clip(noise.at(where + 20, (70.0, 30.0, 12.0)), 0, 2)
        pits = -np.clip(noise.at(where + 50, 1.3) - 2.0, 0, 1) * 6
        return np.asarray(0.5 * streak + 0.35 * chatter + pits + 0.25 * noise.at(where, 0.5))
    if kind == "grain":
        return np.asarray(noise.rough(where, 2.2, 4))
    if kind == "stamp":  # a round seal with a sprig in it, pressed into the face
        return -_stamp(where) + 0.05 * noise.at(where, (0.9, 40.0, 55.0))
    if kind == "weave":
        x, y = where[:, 0], where[:, 1]
        slub = 0.3 * noise.at(where, (14.0, 0.9, 1.0)) + 0.3 * noise.at(where + 9, (0.9, 14.0, 1.0))
        return np.asarray(np.sin(x * 5.2) * np.sin(y * 5.2) + slub)
    return np.asarray(noise.rough(where, 12.0, 3))  # skin: as it set


def _stamp(where: Array) -> Array:
    """1 where the stamp went in: two rings and seven leaves about the middle of a face."""
    x, z = where[:, 0], where[:, 2] - 30
    away, turn = np.hypot(x, z), np.arctan2(z, x)
    deep = np.maximum(soft(0.5 - np.abs(away - 21), 0.5), soft(0.35 - np.abs(away - 18.8), 0.5))
    leaf = 9.0 * np.abs(np.cos(3.5 * turn)) ** 0.7 + 4
    return np.asarray(np.maximum(deep, soft(np.minimum(leaf - away, away - 3.5), 0.6)))


def trace(mi: Any, shot: Shot) -> NDArray[np.float32]:
    """What the sensor got: (H, W, 3), linear, in no particular unit."""
    build = _Builder(mi)
    scene: dict[str, Any] = {"type": "scene", "integrator": {"type": "path", "max_depth": shot.bounces}}
    scene["sensor"] = build.sensor(shot)
    scene |= {f"lamp{number}": build.lamp(lamp) for number, lamp in enumerate(shot.lamps)}
    scene |= {f"thing{number}": build.mesh(f"thing{number}", thing) for number, thing in enumerate(shot.things)}
    return np.asarray(mi.render(mi.load_dict(scene), seed=shot.seed), np.float32)
