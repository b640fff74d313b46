"""What a card says of what lies beside it: soap beside its inks, and its own inks beside the paints of a chart.

Run: python -m tests.benchmarks.beside_a_card [--learn] [--settings 34000] [--seed 5 | --fresh-seeds]

Spectra only, no picture: the card's colours and thirty soaps through a camera, its matrix, exposure, tone curve,
saturation, noise; likewise a chart's colours and thirty of a printed card's, as when it is enrolled. `--learn` draws
settings again, learns the networks of `curejournal/colour/metamerism.py` from them and writes their numbers beside it;
without, those that stand there are judged. Those settings and the ones
judged by have no camera, light or inks in common, save that camera 2, a stacked sensor, is in both in different copies.
Soap is judged by drawn soaps, by drawn soaps with pigments, and by published reflectances that nothing was learned
from: the 99 of CIE 224:2017 (the colour fidelity index), paints, textiles, plastics, skin and plants among them.
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

from curejournal.colour import camera, metamerism
from curejournal.colour.correction import Correction, fit_correction
from curejournal.colour.spaces import srgb_from_linear
from curejournal.photo.card import Card, centres_of
from tests.benchmarks.window_card import FAMILIES, LIGHTS
from tests.printing import Printer
from tests.scenes import card_named
from tests.spectra import (
    NM,
    TILT,
    Array,
    Paint,
    SpectralCamera,
    bell,
    chart24_paints,
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

CARD, CHART = card_named("window"), card_named("chart24")
CARDS = {card.made_of: card for card in (CARD, CHART)}
OTHER_LIGHTS = (
    *("FL1", "FL3", "FL4", "FL5", "FL6", "FL7", "FL8", "FL9", "FL10", "FL12", "FL3.1", "FL3.5", "FL3.8", "FL3.12"),
    *("LED-B2", "LED-B4", "LED-BH1", "LED-V1", "LED-V2", "LED-RGB1"),
)
BESIDE = 30
"""How many soaps, or inks, are beside a card in one photo."""
Bank = Callable[[np.random.Generator, int], list[Paint]]
HIDDEN, DECAY, START_SD = 128, 1e-4, (0.0, 0.12, 0.5, 0.01)
"""Of the network: its hidden units, how dear large numbers are, and the spread of those it starts from."""


@dataclass(frozen=True)
class Setting:
    """A card and things beside it in one photo: `seen` (N, 3) and `shown` (M, 3) encoded.

    `card_lab` (N, 3) is what is known of the card, `true_lab` (M, 3) what is wanted; CIELAB.
    """

    card: Card
    material: str
    seen: Array
    card_lab: Array
    shown: Array
    true_lab: Array

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
    kind = rng.random()
    if kind < 0.4:
        below = np.exp(rng.normal(0, 0.3) * TILT) * edge(rng.uniform(440, 640), rng.uniform(5, 22))
        return np.asarray(below + rng.uniform(0, 0.3) * bell(rng.uniform(480, 700), rng.uniform(20, 60)))
    if kind < 0.8:
        strengths = (1.0, *rng.uniform(0.1, 0.8, rng.integers(3)))
        bands = [each * bell(rng.uniform(410, 700), rng.uniform(16, 55)) for each in strengths]
        return np.asarray(np.sum(bands, axis=0) + rng.uniform(0, 0.1))
    return np.asarray(np.exp(rng.normal(0, 0.3) * TILT))


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


def card_paints(rng: np.random.Generator, *, strange: bool = True) -> list[Paint]:
    """A printed copy of the card, in layers or in dots, with inks of another maker if `strange`."""
    change = int(rng.integers(1_000_000)) if strange else None
    dots = float(rng.uniform(1.2, 2.2)) if rng.random() < 0.5 else None
    return list(Printer(int(rng.integers(1_000_000)), 0.08, 0.04, change, dots).paints(CARD).values())


def chart_paints(rng: np.random.Generator) -> list[Paint]:
    """A copy of the chart. Ours: its paints differ from the published ones by some 1.5 %, smoothly."""
    bends = np.exp(rng.normal(0, 0.015, (len(CHART.patches), 2)) @ np.array([TILT, TILT**2 - 0.5]))
    published = chart24_paints(CHART).values()
    return [surface(np.minimum(paint.reflectance * bend, 1.0)) for paint, bend in zip(published, bends, strict=True)]


def ink_bank(rng: np.random.Generator, count: int, *, strange: bool = True) -> list[Paint]:
    """Colours of printed cards, twenty of each copy."""
    cards = [card_paints(rng, strange=strange) for _ in range(count // 20)]
    return [card[k] for card in cards for k in rng.permutation(len(card))[:20]]


BANKS: dict[str, Bank] = {
    "soap, drawn": soap_bank,
    "soap, drawn, with pigments": pigmented_bank,
    "soap, published": published_bank,
    "inks": ink_bank,
}


def setting(
    card: Card, material: str, paints: list[Paint], bank: list[Paint], seen_by: SpectralCamera, rng: np.random.Generator
) -> Setting:
    """A photo of a card in these paints, and of some of the bank."""
    some = [bank[k] for k in rng.permutation(len(bank))[:BESIDE]]
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
    if card is CHART:  # what is known of a chart is what its maker published
        card_lab = np.array([patch.lab_d50 for patch in card.patches])
    else:
        card_lab = np.array([paint.lab for paint in paints]) + rng.normal(0, 0.3, (len(paints), 3))
    true_lab = np.array([paint.lab for paint in some])
    return Setting(card, material, encoded(paints, 0.04 * noise), card_lab, encoded(some, 0.02 * noise), true_lab)


def corrected(drawn: Setting, *, learned: bool) -> tuple[Correction, Array, Array]:
    """The correction by the card; what it says of the rest in the card's middle (M, 3); its covariances (M, 3, 3)."""
    found = fit_correction(
        drawn.seen,
        drawn.card_lab,
        noise_sd=np.full(drawn.seen.shape, 0.002),
        usable=drawn.usable,
        xy_mm=centres_of(drawn.card.patches),
        made_of=drawn.card.made_of,
    )
    count = len(drawn.shown)
    middle = np.tile(np.array(drawn.card.size_mm) / 2, (count, 1))
    lab, joint = found.colours(drawn.shown, xy_mm=middle, material=drawn.material if learned else "unknown")
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
    bank: Bank,
    material: str = "soap",
    card: Card = CARD,
    strange: bool = True,
    copies: int = 30,
) -> Iterator[Setting]:
    """Drawn settings: soaps or inks, twenty times as many, beside copies of a card."""
    beside = bank(rng, 20 * copies)
    cards = [card_paints(rng, strange=strange) if card is CARD else chart_paints(rng) for _ in range(copies)]
    for _ in range(count):
        balance = (float(rng.normal(0, 0.06)), float(rng.normal(0, 0.08)))
        seen_by = SpectralCamera((light(rng),), str(rng.choice(cameras)), int(rng.integers(1_000_000)), balance)
        drawn = setting(card, material, cards[int(rng.integers(copies))], beside, seen_by, rng)
        if drawn.usable.mean() > 0.6:  # else the photo would be refused
            yield drawn


def learned(material: str, made_of: str, count: int, rng: np.random.Generator) -> metamerism.Network:
    """The network that leaves least of the errors, of large ones as by their size and not its square."""
    needs, even, errors = [], [], []
    bank, card = {"soap": bank_to_learn_from, CARD.made_of: ink_bank}[material], CARDS[made_of]
    cameras, light = [*other_cameras(), "camera 2", "camera 2"], light_to_learn_from
    for each in settings(count, rng, cameras=cameras, light=light, bank=bank, material=material, card=card, copies=90):
        found, lab, _ = corrected(each, learned=False)
        usual, rest = found.camera_and_rest()
        needs.append(metamerism.needs_of(usual[camera.MIX], rest))
        even.append(camera.even_lab(usual, each.shown, np.zeros((BESIDE, 2))))
        errors.append(camera.compress(each.true_lab) - camera.compress(lab))
    return network(np.array(needs), np.array(even), np.array(errors))


def network(needs: Array, even_lab: Array, errors: Array) -> metamerism.Network:
    """Learned from what settings need (S, F), and the colours and errors (S, M, 3) of what lay beside.

    Least squares by L-BFGS, thrice, with weights that follow the errors left; large numbers are dear.
    """
    ends = np.round(np.quantile(even_lab, [0.005, 0.995], axis=(0, 1)))
    basis = metamerism.terms(even_lab, ends)
    scale, many = np.sqrt((needs**2).mean(axis=0)), 3 * metamerism.TERMS
    shapes = [(len(scale), many), (len(scale), HIDDEN), (HIDDEN,), (HIDDEN, many)]
    stops = np.cumsum([np.prod(shape) for shape in shapes])

    def made(numbers: Array) -> metamerism.Network:
        parts = np.split(numbers, stops[:-1])
        return metamerism.Network(
            ends, scale, *(part.reshape(shape) for part, shape in zip(parts, shapes, strict=True))
        )

    numbers = np.random.default_rng(0).standard_normal(stops[-1]) * np.repeat(START_SD, np.diff(stops, prepend=0))
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


def write(material: str, made_of: str, learned: metamerism.Network) -> None:
    numbers = {name: each.astype(np.float16) for name, each in vars(learned).items()}
    np.savez_compressed(Path(metamerism.__file__).with_name(metamerism.file_of(material, made_of)), **numbers)


def judged(bank: str, seen_by: str, count: int, rng: np.random.Generator) -> str:
    """A row of the table: of what is not burnt out, beside cards of which nothing was learned."""
    # A card is enrolled by daylight, beside the chart.
    material, card, lights = ("soap", CARD, LIGHTS) if bank != "inks" else (CARD.made_of, CHART, LIGHTS[:3])

    def light(own: np.random.Generator) -> str:
        return str(own.choice(lights))

    drawn = settings(count, rng, cameras=[seen_by], light=light, bank=BANKS[bank], material=material, card=card)
    cells: dict[bool, list[Array]] = {False: [], True: []}
    for each in drawn:
        fair = ((each.shown > 0.004) & (each.shown < 0.996)).all(axis=1)
        for with_learned, own in cells.items():
            _, lab, covariance = corrected(each, learned=with_learned)
            held = within(lab, covariance, each.true_lab)
            own.append(np.column_stack([deltaE_ciede2000(each.true_lab, lab), held])[fair])
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
    if options.learn:
        for material, made_of in metamerism.LEARNED:
            network = learned(material, made_of, options.settings, np.random.default_rng(seed))
            metamerism.LEARNED[material, made_of] = network
            write(material, made_of, network)
    print(f"seed {seed}\n")
    print("| judged by | beside | patches alone | interval holds | with what is learned | interval holds |")
    print("| --- | --- | --- | --- | --- | --- |")
    for seen_by in ("camera 1", "camera 2", *phone_cameras()):
        for bank in BANKS:
            print(judged(bank, seen_by, 60, np.random.default_rng(seed + 1)), flush=True)


if __name__ == "__main__":
    main()
