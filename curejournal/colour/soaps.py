"""What a card's colours say of a camera, put right for soap, which is not made of what the card is made of.

A camera is not the eye: of two materials that look alike, one may be redder in a photo. So the mixing of channels that
puts a card right is not quite the one that puts soap right. How far they differ shows in what the card needs: the
mixing itself, and the smooth rest that the camera leaves at six colours. A linear map of these, learned on drawn
photos, gives the change of mixing. It has no constant term: a camera that sees as the eye does needs no change.

`python -m tests.benchmarks.soap_beside_card --learn` writes the numbers: published sensitivities of eleven cameras and
of a stacked sensor (2 parts in 13), each changed at random; published lights and mixtures; inks at random; drawn soaps.
None of the cameras, lights and inks of `tests.benchmarks.window_card`, by which it is judged, is among them, save the
stacked sensor in other copies.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PROBES = np.array(
    [[0.8, 0.5, 0.5], [0.5, 0.8, 0.5], [0.5, 0.5, 0.8], [0.8, 0.8, 0.5], [0.5, 0.8, 0.8], [0.8, 0.5, 0.8]]
)
"""The six colours, encoded: red, green, blue, yellow, cyan, magenta, halfway to grey."""
REST_SCALE = 10.0
"""Lab units of rest that weigh as much as a mixing of 1, for the learning only."""


def mixing_for_soap(made_of: str, mixing: Array, rest: Array) -> Array:
    """The change of the camera's mixing (6,) that soap asks for beside a card.

    Parameters
    ----------
    made_of : str
        Of what the card's colours are, one of `LEARNED`.
    mixing : ndarray of shape (6,)
        `camera.MIX` as fitted to the card.
    rest : ndarray of shape (6, 3)
        What the camera leaves unexplained at `PROBES`, even Lab.
    """
    return np.asarray(np.concatenate([mixing, rest.ravel() / REST_SCALE]) @ LEARNED[made_of])


LEARNED: dict[str, Array] = {
    "printing inks": np.array(
        [
            [-0.100, 0.139, -0.167, -0.275, 0.139, -0.452],
            [-0.014, -0.050, -0.010, 0.107, -0.102, 0.207],
            [0.273, -0.131, 0.064, 0.137, 0.021, -0.141],
            [-0.346, 0.098, -0.052, 0.146, -0.076, 0.142],
            [-0.099, 0.109, -0.076, -0.022, -0.153, 0.035],
            [-0.338, 0.096, -0.107, -0.003, 0.014, -0.065],
            [-0.224, 0.148, -0.046, -0.065, 0.019, 0.031],
            [0.132, 0.058, 0.064, 0.035, -0.045, -0.057],
            [0.039, -0.019, -0.104, -0.112, 0.124, -0.166],
            [-0.055, 0.035, 0.050, 0.062, -0.070, 0.133],
            [-0.114, 0.113, -0.013, -0.033, 0.021, -0.117],
            [-0.197, 0.081, -0.026, -0.025, 0.023, 0.107],
            [0.171, -0.112, -0.026, -0.066, 0.019, -0.036],
            [0.517, -0.127, 0.100, 0.065, -0.017, -0.033],
            [0.290, -0.071, 0.049, -0.052, 0.080, -0.031],
            [0.529, -0.232, 0.060, 0.042, 0.005, -0.028],
            [-0.019, -0.042, -0.021, -0.039, -0.019, 0.044],
            [0.167, -0.076, 0.077, 0.096, -0.069, 0.062],
            [-0.497, 0.198, -0.033, 0.002, 0.044, -0.044],
            [0.043, -0.081, 0.034, 0.061, 0.012, 0.145],
            [0.105, -0.069, -0.011, 0.013, -0.023, -0.044],
            [0.116, -0.048, -0.050, -0.049, -0.008, -0.053],
            [-0.277, 0.037, -0.065, -0.033, 0.042, 0.003],
            [-0.266, 0.089, 0.003, 0.049, -0.080, 0.128],
        ]
    ),
}
