"""What a card says of soap beside it: learned on drawn settings, judged on others.

Run: python -m tests.benchmarks.soap_beside_card [--learn] [--settings 34000] [--seed 5 | --fresh-seeds]

Spectra only, no picture: the card's colours and thirty soaps through a camera, its matrix, exposure, tone curve,
saturation, noise. `--learn` draws settings anew, learns the network of `curejournal/colour/soaps.py` from them and
writes its numbers beside it; without, those that stand there are judged. Those settings and the ones
judged by have no camera, light or inks in common, save that camera 2, a stacked sensor, is in both in different copies.
Judged on drawn soaps, on drawn soaps with pigments, and on published reflectances that nothing was learned from: the
99 of CIE 224:2017 (the colour fidelity index), paints, textiles, plastics, skin and plants among them.
"""

from __future__ import annotations

import argparse
import secrets
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from skimage.color import deltaE_ciede2000

from curejournal.colour import camera, soaps
from curejournal.colour.correction import Correction, fit_correction
from curejournal.colour.spaces import srgb_from_linear
from tests.benchmarks.window_card import FAMILIES, LIGHTS
from tests.scenes import card_named
from tests.spectra import (
    NM,
    Array,
    Paint,
    Printer,
    SpectralCamera,
    bell,
    edge,
    opaque,
    other_cameras,
    phone_cameras,
    soap,
    surface,
)

with warnings.catch_warnings():  # colour-science warns of optional packages that are not here
    warnings.simplefilter("ignore")
    import colour
    from colour.quality.cfi2017 import load_TCS_CIE2017

CARD = card_named("window")
MADE_OF = "printing inks"
PLACES = np.array([(patch.x + patch.w / 2, patch.y + patch.h / 2) for patch in CARD.patches])
OTHER_LIGHTS = (
    *("FL1", "FL3", "FL4", "FL5", "FL6", "FL7", "FL8", "FL9", "FL10", "FL12", "FL3.1", "FL3.5", "FL3.8", "FL3.12"),
    *("LED-B2", "LED-B4", "LED-BH1", "LED-V1", "LED-V2", "LED-RGB1"),
)
SOAPS = 30
HIDDEN, DECAY, START_SD = 128, 1e-4, (0.0, 0.12, 0.5, 0.01)
"""Of the network: its hidden units, how dear large numbers are, and the spread of those it starts from."""


@dataclass(frozen=True)
class Setting:
    """A card and soaps in one photo: `seen` (N, 3) and `shown` (M, 3) encoded, true colours in CIELAB."""

    seen: Array
    card_lab: Array
    shown: Array
    soap_lab: Array

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Which patches are neither burnt out nor black."""
        return np.asarray(((self.seen > 0.004) & (self.seen < 0.99)).all(axis=1))


def soap_bank(rng: np.random.Generator, count: int) -> list[Paint]:
    """Soaps of all families, three in ten of them well outside."""
    bank: list[Paint] = []
    while len(bank) < count:
        centre, half = FAMILIES[len(bank) % len(FAMILIES)]
        wide = 1.8 if rng.random() < 0.3 else 1.0
        lab = np.round(np.array(centre) + wide * np.array(half) * rng.uniform(-1, 1, 3), 1)
        try:
            bank.append(soap(tuple(lab.tolist()), int(rng.integers(1_000_000))))
        except ValueError:  # no smooth reflectance has that colour
            continue
    return bank


def pigment(rng: np.random.Generator) -> Array:
    """What a pigment absorbs, by wavelength.

    Ours, from memory of what colours soap: an edge, as of iron oxides and yellows; one to three bands, as of
    ultramarine, chrome green and plant dyes; or grey, as charcoal.
    """
    tilt, kind = (NM - 550) / 150, rng.random()
    if kind < 0.4:
        below = np.exp(rng.normal(0, 0.3) * tilt) * edge(rng.uniform(440, 640), rng.uniform(5, 22))
        return np.asarray(below + rng.uniform(0, 0.3) * bell(rng.uniform(480, 700), rng.uniform(20, 60)))
    if kind < 0.8:
        strengths = (1.0, *rng.uniform(0.1, 0.8, rng.integers(3)))
        bands = [each * bell(rng.uniform(410, 700), rng.uniform(16, 55)) for each in strengths]
        return np.asarray(np.sum(bands, axis=0) + rng.uniform(0, 0.1))
    return np.asarray(np.exp(rng.normal(0, 0.3) * tilt))


def pigmented_bank(rng: np.random.Generator, count: int) -> list[Paint]:
    """Soaps, browned a little, with one to three pigments, and about as many of each colour."""
    bank: list[Paint] = []
    of_colour: Counter[tuple[int, ...]] = Counter()
    while len(bank) < count:
        browning = np.exp(rng.normal(-4.5, 1.2) - (NM - 550) / rng.uniform(35, 130)) + np.exp(rng.normal(-6.5, 1))
        absorbed = browning + sum(np.exp(rng.normal(-1.0, 1.5)) * pigment(rng) for _ in range(rng.integers(1, 4)))
        paint = surface(opaque(absorbed * (NM / 550) ** rng.uniform(0, 1)))  # soap scatters blue light more
        lightness, chroma = paint.lab[0], np.hypot(*paint.lab[1:])
        if not (10 < lightness < 97 and chroma < 75):
            continue
        hue = np.degrees(np.arctan2(paint.lab[2], paint.lab[1])) % 360 // (30 if chroma >= 15 else 90)
        alike = (int(hue), int(chroma // 15), int(lightness // 20))
        if of_colour[alike] <= len(bank) / 90 + 1:
            of_colour[alike] += 1
            bank.append(paint)
    return bank


def published_bank(rng: np.random.Generator, count: int) -> list[Paint]:
    """The reflectances of CIE 224:2017, as kept by colour-science; `count` of them at random."""
    samples = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5)).values.T
    return [surface(samples[k]) for k in rng.permutation(len(samples))[:count]]


def bank_to_learn_from(rng: np.random.Generator, count: int) -> list[Paint]:
    return soap_bank(rng, count // 2) + pigmented_bank(rng, count - count // 2)


BANKS = {"drawn": soap_bank, "drawn, with pigments": pigmented_bank, "published": published_bank}


def card_paints(rng: np.random.Generator, *, strange: bool) -> list[Paint]:
    """A printed copy of the card, with inks of another maker if `strange`."""
    change = int(rng.integers(1_000_000)) if strange else None
    return list(Printer(int(rng.integers(1_000_000)), 0.08, 0.04, change).paints(CARD).values())


def setting(cards: list[list[Paint]], bank: list[Paint], seen_by: SpectralCamera, rng: np.random.Generator) -> Setting:
    paints = cards[int(rng.integers(len(cards)))]
    some = [bank[k] for k in rng.permutation(len(bank))[:SOAPS]]
    exposure, contrast, saturation = 2 ** rng.uniform(-1.3, -0.4), rng.uniform(-0.1, 0.9), rng.uniform(0.9, 1.3)
    gamma, hue = rng.uniform(0.9, 1.12), np.eye(3) + rng.normal(0, 0.02, (3, 3))
    hue /= hue.sum(axis=1, keepdims=True)

    def encoded(group: list[Paint], noise: float) -> Array:
        raw = exposure * np.array([seen_by.raw(paint, 0) for paint in group])
        raw = raw + noise * rng.standard_normal(raw.shape) * np.sqrt(np.clip(raw, 0, None) + 0.09)
        plain = srgb_from_linear(np.clip(raw @ seen_by.develop.T @ hue.T, 0, 1)) ** gamma
        toned = plain + contrast * plain * (1 - plain) * (2 * plain - 0.75)
        grey = toned @ [[0.2126], [0.7152], [0.0722]]
        return np.asarray(np.clip(grey + saturation * (toned - grey), 0, 1))

    noise = rng.uniform(0.006, 0.02)
    card_lab = np.array([paint.lab for paint in paints]) + rng.normal(0, 0.3, (len(paints), 3))
    soap_lab = np.array([paint.lab for paint in some])
    return Setting(encoded(paints, 0.04 * noise), card_lab, encoded(some, 0.02 * noise), soap_lab)


def corrected(drawn: Setting, *, with_soap: bool) -> tuple[Correction, Array, Array]:
    """The correction by the card; what it says of the soaps in the card's middle (M, 3); its covariances (M, 3, 3)."""
    found = fit_correction(
        drawn.seen,
        drawn.card_lab,
        noise_sd=np.full(drawn.seen.shape, 0.002),
        usable=drawn.usable,
        xy_mm=PLACES,
        made_of=MADE_OF,
    )
    count = len(drawn.shown)
    middle = np.tile(np.array(CARD.size_mm) / 2, (count, 1))
    lab, joint = found.colours(drawn.shown, xy_mm=middle, soap=with_soap)
    each = np.arange(count)
    return found, lab, joint.reshape(count, 3, count, 3)[each, :, each, :]


def within(lab: Array, covariance: Array, truth: Array) -> NDArray[np.bool_]:
    """Which of colours (M, 3) have their truth in their 95 % region: chi-square with three degrees of freedom."""
    off = lab - truth
    return np.asarray((off * np.linalg.solve(covariance, off[..., None])[..., 0]).sum(axis=1) < 7.815)


def light_to_learn_from(rng: np.random.Generator) -> str:
    def one() -> str:
        kind = rng.random()
        if kind < 0.45:
            return f"daylight {rng.integers(43, 110) * 100}"
        if kind < 0.6:
            return f"black body {rng.integers(24, 34) * 100}"
        return str(rng.choice(OTHER_LIGHTS))

    return one() if rng.random() < 0.75 else f"{one()} + {one()}"


def settings(
    count: int,
    rng: np.random.Generator,
    *,
    cameras: list[str],
    light: Callable[[np.random.Generator], str],
    strange: bool,
    soaps_of: Callable[[np.random.Generator, int], list[Paint]] = soap_bank,
    copies: int = 30,
) -> Iterator[Setting]:
    """Drawn settings, by `copies` of the card and twenty times as many soaps."""
    bank = soaps_of(rng, 20 * copies)
    cards = [card_paints(rng, strange=strange) for _ in range(copies)]
    for _ in range(count):
        balance = (float(rng.normal(0, 0.06)), float(rng.normal(0, 0.08)))
        seen_by = SpectralCamera((light(rng),), str(rng.choice(cameras)), int(rng.integers(1_000_000)), balance)
        drawn = setting(cards, bank, seen_by, rng)
        if drawn.usable.mean() > 0.6:  # else the photo would be refused
            yield drawn


def learned(count: int, rng: np.random.Generator) -> soaps.Network:
    """The network that leaves least of the soaps' errors, of large ones as by their size and not its square."""
    needs, basis, errors = [], [], []
    cameras = [*other_cameras(), "camera 2", "camera 2"]
    for each in settings(
        count, rng, cameras=cameras, light=light_to_learn_from, strange=True, soaps_of=bank_to_learn_from, copies=90
    ):
        found, lab, _ = corrected(each, with_soap=False)
        usual, rest = found.camera_and_rest()
        needs.append(soaps.needs_of(usual[camera.MIX], rest))
        basis.append(soaps.terms(camera.even_lab(usual, each.shown, np.zeros((SOAPS, 2)))))
        errors.append(camera.compress(each.soap_lab) - camera.compress(lab))
    return network(np.array(needs), np.array(basis), np.array(errors))


def network(needs: Array, basis: Array, errors: Array) -> soaps.Network:
    """Learned from what settings need (S, F), and the terms (S, M, TERMS) and errors (S, M, 3) of their soaps.

    Least squares by L-BFGS, thrice, with weights that follow the errors left; large numbers are dear.
    """
    scale, many = np.sqrt((needs**2).mean(axis=0)), 3 * soaps.TERMS
    shapes = [(len(scale), many), (len(scale), HIDDEN), (HIDDEN,), (HIDDEN, many)]
    ends = np.cumsum([np.prod(shape) for shape in shapes])

    def made(numbers: Array) -> soaps.Network:
        parts = np.split(numbers, ends[:-1])
        return soaps.Network(scale, *(part.reshape(shape) for part, shape in zip(parts, shapes, strict=True)))

    numbers = np.random.default_rng(0).standard_normal(ends[-1]) * np.repeat(START_SD, np.diff(ends, prepend=0))
    scaled, left = made(numbers).scaled(needs), errors
    for steps in (100, 300, 300):
        weights = 1.0 / np.sqrt(1.0 + (left**2).sum(axis=-1, keepdims=True) / 4.0) / errors[..., 0].size
        normal, wanted = ((basis * weights).swapaxes(1, 2) @ each for each in (basis, errors))

        def loss(numbers: Array, normal: Array = normal, wanted: Array = wanted) -> tuple[float, Array]:
            now = made(numbers)
            still, hidden = np.tanh(now.offset), np.tanh(scaled @ now.inward + now.offset)
            answer = (scaled @ now.straight + (hidden - still) @ now.outward).reshape(wanted.shape)
            pull = normal @ answer - wanted
            back = pull.reshape(len(scaled), many)
            to_hidden = back @ now.outward.T
            inward = to_hidden * (1.0 - hidden**2)
            offset = inward.sum(axis=0) - to_hidden.sum(axis=0) * (1.0 - still**2)
            slopes = (scaled.T @ back, scaled.T @ inward, offset, (hidden - still).T @ back)
            value = ((pull - wanted) * answer).sum() + DECAY * (numbers @ numbers)
            return float(value) / 2.0, np.concatenate([each.ravel() for each in slopes]) + DECAY * numbers

        numbers = minimize(loss, numbers, jac=True, method="L-BFGS-B", options={"maxiter": steps, "maxcor": 20}).x
        left = errors - basis @ made(numbers)(needs).reshape(wanted.shape)
    return made(numbers)


def write(learned: soaps.Network) -> None:
    numbers = {name: each.astype(np.float16) for name, each in vars(learned).items()}
    np.savez_compressed(Path(soaps.__file__).with_name(soaps.file_of(MADE_OF)), **numbers)


def judged(bank: str, seen_by: str, count: int, rng: np.random.Generator) -> str:
    """A row of the table: of soaps that are not burnt out, beside cards in inks of another maker."""
    drawn = settings(
        count, rng, cameras=[seen_by], light=lambda own: str(own.choice(LIGHTS)), strange=True, soaps_of=BANKS[bank]
    )
    cells: dict[bool, list[Array]] = {False: [], True: []}
    for each in drawn:
        fair = ((each.shown > 0.004) & (each.shown < 0.996)).all(axis=1)
        for with_soap, own in cells.items():
            _, lab, covariance = corrected(each, with_soap=with_soap)
            held = within(lab, covariance, each.soap_lab)
            own.append(np.column_stack([deltaE_ciede2000(each.soap_lab, lab), held])[fair])
    words = [f"| {seen_by}, changed | {bank}"]
    for own in cells.values():
        errors, held = np.concatenate(own).T
        words.append(f"{np.median(errors):.2f} / {np.quantile(errors, 0.95):.2f} | {held.mean():.1%}")
    return " | ".join(words) + " |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--learn", action="store_true")
    parser.add_argument("--settings", type=int, default=34000, help="to learn from")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--fresh-seeds", action="store_true")
    options = parser.parse_args()
    seed = secrets.randbelow(1_000_000) if options.fresh_seeds else options.seed
    rng = np.random.default_rng(seed)
    if options.learn:
        soaps.LEARNED[MADE_OF] = learned(options.settings, rng)
        write(soaps.LEARNED[MADE_OF])
    print(f"seed {seed}\n\n| judged by | soaps | patches alone | interval holds | with soap | interval holds |")
    print("| --- | --- | --- | --- | --- | --- |")
    for seen_by in ("camera 1", "camera 2", *phone_cameras()):
        for bank in BANKS:
            print(judged(bank, seen_by, 60, np.random.default_rng(seed + 1)), flush=True)


if __name__ == "__main__":
    main()
