"""A pH strip read by its colour: the maker's own key is enrolled by photo once, and a pad is placed on its curve.

The key's colours lie on a curve in CIELAB along pH. A pad's pH is where the
curve passes it, with the interval that the doubts of pad and key leave.
Between strips of different packets colours differ, so a key counts for its own lot alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import join, msg
from curejournal.colour.difference import ciede2000
from curejournal.colour.sample import Grade, Lab, Matrix3
from curejournal.photo.measure.measurement import AreaColour, Measurement

Floats = NDArray[np.float64]

# All ours, chosen on drawn keys and pads.
# Dyed paper and printed key are different dyes: what a camera sees alike may differ by so much, CIELAB units, as an sd.
DYES_SD = 2.0
# A pad further from the curve than this many standard deviations, or so many ΔE00, is on no step of this key.
OFF_KEY_SD, OFF_KEY_DE = 3.5, 7.0
# Steps closer than this cannot be told apart by a photo.
LEAST_STEP = 2.0
# A wet pad shines: bright pixels widen the spread of L*, or burn out.
WET_SPREAD_L = 6.0
# An interval wider than this says nothing.
WIDEST_PH = 3.0
_GRID = 0.01


class KeyUnusable(CureJournalError):
    """A strip key whose colours cannot be used."""


class StripUnreadable(CureJournalError):
    """A pad whose pH cannot be told by this key."""


@dataclass(frozen=True)
class KeyStep:
    """One colour of a key: its pH, its CIELAB colour and how well that is known."""

    ph: float
    lab: Lab
    covariance: Matrix3


@dataclass(frozen=True)
class StripKey:
    """A packet's key as measured: `lot` is what is printed on the packet, `card` the card it was measured with."""

    name: str
    lot: str
    card: str
    steps: tuple[KeyStep, ...]


@dataclass(frozen=True)
class StripReading:
    """`ph` with its 95% interval; `off` is how far the pad lies from the key's curve, ΔE00."""

    ph: float
    low: float
    high: float
    off: float
    key: str

    @property
    def half_width(self) -> float:
        """The longer side of the interval, as kept with an alkali test: a test holds one number for both."""
        return max(self.high - self.ph, self.ph - self.low)


def enrol_key(name: str, lot: str, measured: Measurement, ph_of: Mapping[str, float]) -> StripKey:
    """A key from a photo of it beside the card.

    Parameters
    ----------
    name, lot : str
        What it is called, and the lot of the packet.
    measured : Measurement
        With an area for each colour of the key.
    ph_of : mapping of area name to pH

    Returns
    -------
    StripKey

    Raises
    ------
    KeyUnusable
        Fewer than three colours, an unclaimed one, a pH twice or impossible, or neighbours too alike for a photo.
    """
    steps = []
    for area in measured.areas:
        if area.name not in ph_of:
            continue
        if area.sample is None or _spoiled(measured, area):
            why = join(" ", (reason.text for reason in area.reasons)) or msg("Its light or card was not good enough.")
            raise KeyUnusable(
                msg("The colour of pH {name:g} cannot be used. {why}", name=ph_of[area.name], why=why),
                msg("Take the photo again."),
            )
        steps.append(KeyStep(float(ph_of[area.name]), area.sample.lab, area.sample.covariance))
    steps.sort(key=lambda step: step.ph)
    values = [step.ph for step in steps]
    if len(steps) < 3:
        raise KeyUnusable(msg("A key needs at least three colours."), msg("Mark each colour of the key with its pH."))
    if len(set(values)) < len(values) or not 0 <= values[0] <= values[-1] <= 14:
        raise KeyUnusable(msg("Each colour needs its own pH between 0 and 14."), msg("Check the numbers."))
    labs = np.array([step.lab for step in steps])
    near = ciede2000(labs[:-1], labs[1:])
    if near.min() < LEAST_STEP:
        k = int(near.argmin())
        text = msg(
            "The colours of pH {lower_ph:g} and {upper_ph:g} are too alike for a photo.",
            lower_ph=values[k],
            upper_ph=values[k + 1],
        )
        raise KeyUnusable(text, msg("Leave one of them out, or use a meter."))
    return StripKey(name, lot, measured.card, tuple(steps))


def _spoiled(measured: Measurement, area: AreaColour) -> bool:
    """Whether a doubt of the photo or the area is told in words alone.

    That a colour is only roughly known stands in its covariance, which a reading counts: too rough, and the pad fits
    anything.
    """
    limits = {reason.code for reason in (*measured.reasons, *area.reasons) if reason.limit is Grade.INDICATIVE}
    return area.grade is Grade.INDICATIVE and limits != {"uncertain"}


def read_strip(key: StripKey, pad: AreaColour, *, lot: str, card: str) -> StripReading:
    """The pH of a pad.

    Parameters
    ----------
    key : StripKey
    pad : AreaColour
        The pad as measured.
    lot, card : str
        The lot of this strip's packet, and the card beside it.

    Returns
    -------
    StripReading
        pH with its interval.

    Raises
    ------
    StripUnreadable
        Another lot, another card of unknown colours, no colour, wet glare, a colour that is not on the key, or one that
        fits everywhere.
    """
    if lot != key.lot:
        raise StripUnreadable(
            msg(
                "The key is of lot “{key_lot}”, the strip of “{strip_lot}”: their colours differ.",
                key_lot=key.lot,
                strip_lot=lot,
            ),
            msg("Enrol the key of this packet."),
        )
    if pad.sample is None:
        why = join(" ", (reason.text for reason in pad.reasons)) or msg("The photo gives no colour.")
        raise StripUnreadable(msg("The pad's colour cannot be told. {why}", why=why), msg("Take the photo again."))
    if card != key.card:
        raise StripUnreadable(
            msg(
                "The key was measured with the card “{key_card}”, this photo with “{photo_card}”.",
                key_card=key.card,
                photo_card=card,
            ),
            msg("Use the same card for both."),
        )
    if pad.sample.spread[0] > WET_SPREAD_L or any(reason.code == "glare" for reason in pad.reasons):
        raise StripUnreadable(
            msg("The pad glistens: it is wet, or a lamp shines in it."),
            msg("Shake the drop off, turn it out of the glare."),
        )
    return on_curve(key, np.array(pad.sample.lab), np.array(pad.sample.covariance))


def on_curve(key: StripKey, lab: Floats, covariance: Floats) -> StripReading:
    """Place a colour, (3,) CIELAB with its covariance (3, 3), on a key's curve.

    The curve is a monotone cubic in each coordinate along pH (Fritsch & Carlson 1980), which invents no
    colour beyond those of two neighbours; all pH of the key are equally likely before.

    Parameters
    ----------
    key : StripKey
    lab : ndarray of shape (3,)
        CIELAB D50/2 of the pad.
    covariance : ndarray of shape (3, 3)
        In Lab units squared.

    Returns
    -------
    StripReading
        pH with its interval.
    """
    from scipy.interpolate import PchipInterpolator

    values = np.array([step.ph for step in key.steps])
    at = np.arange(values[0], values[-1] + _GRID / 2, _GRID)
    curve = PchipInterpolator(values, np.array([step.lab for step in key.steps]))(at)
    own = np.stack([np.interp(at, values, c) for c in np.array([s.covariance for s in key.steps]).reshape(-1, 9).T], 1)
    total = own.reshape(-1, 3, 3) + covariance + DYES_SD**2 * np.eye(3)
    away = lab - curve
    distance2 = np.einsum("ni,nij,nj->n", away, np.linalg.inv(total), away)
    nearest = int(np.argmin(distance2))
    off = float(ciede2000(lab, curve[nearest]))
    if distance2[nearest] > OFF_KEY_SD**2 or off > OFF_KEY_DE:
        raise StripUnreadable(
            msg("The pad's colour is not on this key (off by ΔE00 {off:.0f}).", off=off),
            msg("Check that key and strip belong together, and read the strip in time."),
        )
    weight = np.exp(-0.5 * (distance2 - distance2[nearest])) / np.sqrt(np.linalg.det(total))
    share = np.cumsum(weight) / weight.sum()
    low, middle, high = (float(at[min(int(np.searchsorted(share, q)), len(at) - 1)]) for q in (0.025, 0.5, 0.975))
    if high - low > WIDEST_PH:
        raise StripUnreadable(
            msg("The pad's colour fits anything from pH {low:.1f} to {high:.1f}.", low=low, high=high),
            msg("Use strips with a narrower range, or a meter."),
        )
    return StripReading(round(middle, 2), round(low, 2), round(high, 2), round(off, 2), key.name)
