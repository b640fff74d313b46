"""The single best curve of a family, to be held against certified answers: plain least squares, without priors."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from curejournal.judging.curves import Array, CurveModel, Grids


@dataclass(frozen=True)
class BestFit:
    """A model's least-squares fit with standard errors. Amplitudes have shape (p, q)."""

    rates: tuple[float, ...]
    rates_sd: tuple[float, ...]
    amplitudes: Array
    amplitudes_sd: Array
    residual_sum_of_squares: float


def best_fit(model: CurveModel, days: Array, values: Array, first_rates: Sequence[float] | None = None) -> BestFit:
    """Fit values of shape (n, q); without `first_rates` it begins at the best point of the model's grid.

    Standard errors are from the curvature at the minimum, scaled by the residuals.
    """
    if first_rates is None:
        weight = 1e6 / max(float(values.var()), 1e-12)
        precision = np.tile(weight * np.eye(values.shape[1]), (len(days), 1, 1))
        first_rates = Grids([model], days, values, precision).zoom().curves(1).models[0].rates
    count, q = len(model.low), values.shape[1]

    def columns(log_rates: Array) -> Array:
        return np.asarray(model.shape(days, np.exp(log_rates)[None, :])[0])

    def residuals(parameters: Array) -> Array:
        return np.asarray(columns(parameters[:count]) @ parameters[count:].reshape(-1, q) - values).ravel()

    log_rates = np.log(np.asarray(first_rates, dtype=float))
    amplitudes = np.linalg.lstsq(columns(log_rates), values, rcond=None)[0]
    found = least_squares(
        residuals, np.concatenate([log_rates, amplitudes.ravel()]), x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    rss = float(2 * found.cost)
    freedom = max(values.size - len(found.x), 1)
    jacobian = np.asarray(found.jac)
    sd = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)) * rss / freedom)
    rates = np.exp(found.x[:count])
    return BestFit(
        rates=tuple(rates.tolist()),
        rates_sd=tuple((rates * sd[:count]).tolist()),
        amplitudes=found.x[count:].reshape(-1, q),
        amplitudes_sd=sd[count:].reshape(-1, q),
        residual_sum_of_squares=rss,
    )
