"""Spectra for drawn photographs: lights, cameras, charts and soaps.

Lights, observers, sensitivities and chart spectra are published data as kept
by colour-science; soap reflectances are ours (their forms are cited). What is printed is in `tests.printing`.
Everything is sampled at `NM`.
"""

from __future__ import annotations

import csv
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from curejournal.photo.card import Card
from tests.scene_items import (
    D50_TO_D65,
    D50_WHITE,
    WHITE,
    XYZ_TO_LINEAR_SRGB,
    Array,
    Lab,
    Paint,
)

with warnings.catch_warnings():  # colour-science warns of optional packages that are not here
    warnings.simplefilter("ignore")
    import colour

NM = np.arange(380.0, 781.0, 5.0)
TILT = (NM - 550) / 150
"""From blue to red: -1.1 at 385 nm, 0 at 550, 1 at 700."""


def _sampled(spectrum: colour.SpectralDistribution, outside: float | None = None) -> Array:
    """On `NM`; beyond its ends the last value, or `outside`."""
    end = {} if outside is None else {"left": outside, "right": outside}
    return np.asarray(np.interp(NM, spectrum.wavelengths, spectrum.values, **end))


OBSERVER = np.column_stack(
    [
        np.interp(NM, colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].wavelengths, column)
        for column in colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].values.T
    ]
)
D50 = _sampled(colour.SDS_ILLUMINANTS["D50"])


def lab_of(reflectance: Array) -> Lab:
    """True CIELAB D50 / 2 degrees of a reflectance, relative to the perfect white under the same sum."""
    weights = D50[:, None] * OBSERVER
    ratio = (reflectance @ weights) / weights.sum(0)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return (float(116 * f[1] - 16), float(500 * (f[0] - f[1])), float(200 * (f[1] - f[2])))


def surface(reflectance: Array) -> Paint:
    """A paint with the colour that its reflectance truly has."""
    return Paint(lab_of(reflectance), reflectance)


# Lights ---------------------------------------------------------------------------------------------

CIE_LIGHTS = {
    "daylight, overcast": "D65",
    "daylight, window": "D55",
    "daylight, blue sky": "D75",
    "daylight, D50": "D50",
    "tungsten": "A",
    "fluorescent, cool white": "FL2",
    "fluorescent, three-band": "FL11",
    "LED, warm": "LED-B1",
    "LED, neutral": "LED-B3",
    "LED, cool": "LED-B5",
    "LED, violet-pumped": "LED-V2",
    "LED, red-green-blue": "LED-RGB1",
}
"""Our plain names for CIE illuminants (CIE 015:2018)."""


@cache
def light_named(name: str) -> Array:
    """A light of luminance 1, by our name, by the CIE's, or as "daylight 5600" or "black body 2700" (K).

    "X + Y" is an even mixture by luminance. Read-only.
    """
    if " + " in name:
        parts = [light_named(part) for part in name.split(" + ")]
        return np.asarray(np.mean(parts, axis=0))
    kind, _, kelvin = name.rpartition(" ")
    if kind == "daylight":  # CIE 015:2018, 4.1.2; the older radiation constant, as its table of D illuminants
        xy = colour.temperature.CCT_to_xy_CIE_D(float(kelvin) * 1.4388 / 1.4380)
        power = _sampled(colour.sd_CIE_illuminant_D_series(xy))
    elif kind == "black body":
        power = NM**-5 / np.expm1(1.4388e7 / (NM * float(kelvin)))
    else:
        power = _sampled(colour.SDS_ILLUMINANTS[CIE_LIGHTS.get(name, name)])
    return np.asarray(power / (power @ OBSERVER[:, 1]))


@cache
def ultraviolet(name: str) -> float:
    """Of a CIE light, by our name or a mixture: 330 to 400 nm for its luminance, D65's being 1."""
    if " + " in name:
        return float(np.mean([ultraviolet(part) for part in name.split(" + ")]))

    def share(light: str) -> float:
        spectrum, near = colour.SDS_ILLUMINANTS[light], np.arange(330.0, 401.0, 5.0)
        below = np.interp(near, spectrum.wavelengths, spectrum.values, left=0.0)
        return float(below.sum() / (_sampled(spectrum) @ OBSERVER[:, 1]))

    return share(CIE_LIGHTS.get(name, name)) / share("D65")


# Reflectances ---------------------------------------------------------------------------------------


def opaque(absorption: Array) -> Array:
    """Reflectance of an opaque layer, from absorption over scattering (Kubelka & Munk 1931)."""
    return np.asarray(1 + absorption - np.sqrt(absorption**2 + 2 * absorption))


def soap_reflectance(lab: Sequence[float], seed: int | None = None) -> Array:
    """A smooth reflectance with this colour: a scatterer with absorption that varies smoothly.

    An `opaque` layer, with the logarithm
    of absorption over scattering quadratic in wavelength, after the smooth three-parameter
    spectra of Jakob & Hanika 2019 (doi 10.1111/cgf.13626). `seed` adds a broad
    pigment band of its own, so that the same colour comes with different spectra.
    """
    band = np.zeros_like(NM)
    if seed is not None:
        rng = np.random.default_rng(seed)
        band = rng.normal(0, 0.5) * np.exp(-0.5 * ((NM - rng.uniform(430, 650)) / rng.uniform(25, 50)) ** 2)

    def reflectance(coefficients: Array) -> Array:
        absorption = np.exp(np.clip(np.column_stack([np.ones_like(TILT), TILT, TILT**2]) @ coefficients + band, -14, 8))
        return opaque(absorption)

    fit = least_squares(lambda c: np.subtract(lab_of(reflectance(c)), lab), [-2.0, -1.0, 0.3], method="lm")
    if np.abs(fit.fun).max() > 0.05:
        raise ValueError(f"no smooth soap has the colour {tuple(lab)}: off by {fit.fun}")
    return reflectance(fit.x)


@cache
def soap(lab: Lab, seed: int | None = None) -> Paint:
    """Soap of (just about) this colour."""
    return surface(soap_reflectance(lab, seed))


def edge(at_nm: float, width_nm: float) -> Array:
    return np.asarray(1 / (1 + np.exp((NM - at_nm) / width_nm)))


def bell(at_nm: float, width_nm: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((NM - at_nm) / width_nm) ** 2))


CHART_SPECTRA = colour.SDS_COLOURCHECKERS["BabelColor Average"]


def chart24_paints(card: Card) -> Mapping[str, Paint]:
    """The 24 patches: published average spectra, bent smoothly to the card's own reference colours.

    The chart in a drawn photograph is then truly what its definition says,
    with the real spectra's shape. Patches are matched by order.
    """
    paints = {}
    bend = np.column_stack([np.ones_like(TILT), TILT, TILT**2])
    for patch, spectrum in zip(card.patches, CHART_SPECTRA.values(), strict=True):
        assert patch.lab_d50 is not None
        measured, target = _sampled(spectrum), patch.lab_d50
        fit = least_squares(lambda c, m=measured, t=target: np.subtract(lab_of(m * np.exp(bend @ c)), t), np.zeros(3))
        paints[patch.id] = surface(measured * np.exp(bend @ fit.x))
    return paints


# Cameras --------------------------------------------------------------------------------------------

CAMERAS = {"camera 1": "Nikon 5100 (NPL)", "camera 2": "Sigma SDMerill (NPL)"}
"""Published sensitivities (National Physical Laboratory, as kept by colour-science)."""


@cache
def other_cameras() -> dict[str, Array]:
    """More published sensitivities (N, 3), none of them of `CAMERAS`; the file tells their source."""
    return _sensitivities_in("camera_sensitivities.csv")


@cache
def phone_cameras() -> dict[str, Array]:
    """Two sensors of the kind that phones have (N, 3), behind a filter against infrared; the file tells their source.

    The filter is ours: half at 650 nm, as usual ones are. Nothing in the product was learned from these.
    """
    return {name: each * edge(650, 8)[:, None] for name, each in _sensitivities_in("phone_sensors.csv").items()}


def _sensitivities_in(file: str) -> dict[str, Array]:
    text = (Path(__file__).parent / "data" / file).read_text("utf-8")
    head, *rows = csv.reader(line for line in text.splitlines() if not line.startswith("#"))
    at = np.array(head[2:], float)
    cameras: dict[str, list[Array]] = {}
    for name, _, *values in rows:
        cameras.setdefault(name, []).append(np.interp(NM, at, np.array(values, float), left=0, right=0))
    return {name: np.array(channels).T for name, channels in cameras.items()}


@cache
def sensitivities(name: str, change: int | None = None) -> Array:
    """(N, 3) sensitivities of a camera; `change` seeds another camera that differs as models do.

    Ours: each channel moved by some 4 nm, widened or narrowed by some 4%, and mixed with
    its neighbours by some 3%.
    """
    if name in CAMERAS:
        published = colour.MSDS_CAMERA_SENSITIVITIES[CAMERAS[name]]
        columns = [np.interp(NM, published.wavelengths, c, left=0, right=0) for c in published.values.T]
    else:
        columns = list({**other_cameras(), **phone_cameras()}[name].T)
    if change is not None:
        rng = np.random.default_rng(change)
        for k, column in enumerate(columns):
            peak = float(NM[np.argmax(column)])
            shift, stretch = rng.normal(0, 4), np.exp(rng.normal(0, 0.04))
            columns[k] = np.interp(peak + (NM - peak - shift) / stretch, NM, column, left=0, right=0)
        mix = np.eye(3) + np.abs(rng.normal(0, 0.03, (3, 3))) * (1 - np.eye(3))
        columns = list((np.array(columns).T @ mix.T).T)
    return np.asarray(np.clip(np.array(columns).T, 0, None))


@dataclass(frozen=True)
class SpectralCamera:
    """A camera under one or two lights, with its own imperfect white balance and colour matrix.

    The matrix is fitted as makers of cameras do: chart colours under one of two
    standard lights (D55 or A, whichever is nearer to the light), white kept.
    `balance_error` are the relative errors of the red and blue gains.
    """

    light_names: tuple[str, ...] = ("daylight, D50",)
    name: str = "camera 1"
    change: int | None = None
    balance_error: tuple[float, float] = (0.0, 0.0)

    @property
    def lights(self) -> int:
        return len(self.light_names)

    @cached_property
    def _weights(self) -> list[Array]:
        return [light_named(name)[:, None] * sensitivities(self.name, self.change) for name in self.light_names]

    def raw(self, paint: Paint, light: int) -> Array:
        reflectance = np.ones_like(NM) if paint is WHITE else paint.reflectance
        if reflectance is None:
            reflectance = soap_reflectance(paint.lab)
        green = np.mean([weights[:, 1].sum() for weights in self._weights])
        seen = reflectance @ self._weights[light]
        if paint.glow is not None:
            seen = seen + ultraviolet(self.light_names[light]) * paint.glow @ sensitivities(self.name, self.change)
        return np.asarray(seen / green)

    @cached_property
    def develop(self) -> Array:
        white = np.mean([weights.sum(0) for weights in self._weights], axis=0)
        gains = white[1] / white * [1 + self.balance_error[0], 1, 1 + self.balance_error[1]]
        # Warm light has little blue for its green: that is how a camera tells it, too.
        warm = _blue_share(np.mean([light_named(n) for n in self.light_names], axis=0))
        standard = min(("daylight, window", "tungsten"), key=lambda n: abs(_blue_share(light_named(n)) - warm))
        return np.asarray(_colour_matrix(self.name, self.change, standard) * gains)


def _blue_share(power: Array) -> float:
    x, y, z = power @ OBSERVER
    return float(np.log(z / y) - 0.3 * np.log(x / y))


@cache
def _colour_matrix(name: str, change: int | None, light: str) -> Array:
    """Balanced raw to linear sRGB with rows that sum to 1, least squares over the chart's spectra."""
    spectra = np.array([_sampled(spectrum) for spectrum in CHART_SPECTRA.values()])
    weights = light_named(light)[:, None] * sensitivities(name, change)
    raw = spectra @ weights / weights.sum(0)
    seen = D50[:, None] * OBSERVER
    xyz = spectra @ seen / seen.sum(0) * D50_WHITE
    wanted = xyz @ (XYZ_TO_LINEAR_SRGB @ D50_TO_D65).T
    # Rows summing to 1: fit the differences from the green channel.
    base = raw[:, [1]]
    part = np.linalg.lstsq((raw - base)[:, [0, 2]], wanted - base, rcond=None)[0].T
    return np.column_stack([part[:, 0], 1 - part.sum(1), part[:, 1]])
