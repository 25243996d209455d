"""How far a residual reaches above and below zero, as a function of season and tide, and its quantiles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.units import FloatArray

#: Probabilities that quantiles are kept at.
PROBABILITIES = np.array(
    [0.005, 0.01, 0.02, 0.03, 0.05, 0.075, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5,
     0.6, 0.7, 0.8, 0.85, 0.9, 0.925, 0.95, 0.97, 0.98, 0.99, 0.995]
)  # fmt: skip
#: Steps of the fit of a spread; it converges in fewer.
_STEPS = 12
#: A spread never leaves these multiples of its record's mean.
_BOUNDS = (0.4, 2.5)


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Mean magnitude of a residual above and below zero, ``exp(features @ coefficients)``.

    ``above`` and ``below`` have shape ``(m,)``; the first feature is one.
    """

    above: FloatArray
    below: FloatArray

    def of(self, features: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the spread above and below, shape ``(n,)`` each, of features of shape ``(n, m)``."""
        return _bounded(features, self.above), _bounded(features, self.below)

    def scaled(self, residual: FloatArray, features: FloatArray) -> FloatArray:
        """Return residuals in units of the spread on their side."""
        above, below = self.of(features)
        return np.where(residual > 0.0, residual / above, residual / below)

    def unscaled(self, quantile: float, features: FloatArray) -> FloatArray:
        """Return a quantile of scaled residuals in the unit of the residuals."""
        above, below = self.of(features)
        return quantile * (above if quantile > 0.0 else below)


def fit_spread(residual: FloatArray, features: FloatArray, weight_of_prior: float) -> Spread:
    """Return the spread that residuals show, shape ``(n,)``, over features of shape ``(n, m)``.

    A gamma regression with logarithmic link of the magnitudes on either side, its slopes drawn towards zero as if
    ``weight_of_prior`` residuals of one spread had been seen besides.
    """
    sides = []
    for side in (residual > 0.0, residual < 0.0):
        sides.append(_gamma(np.abs(residual[side]), features[side], weight_of_prior))
    return Spread(*sides)


def _gamma(magnitude: FloatArray, features: FloatArray, weight_of_prior: float) -> FloatArray:
    found = np.zeros(features.shape[1])
    if not len(magnitude):
        found[0] = np.log(1e-4)
        return found
    mean = float(np.mean(magnitude)) or 1e-6
    found[0] = np.log(mean)
    prior = np.full(features.shape[1], weight_of_prior)
    prior[0] = 0.0
    gram = features.T @ features + np.diag(prior) + 1e-9 * np.eye(len(found))
    for _ in range(_STEPS):
        expected = np.exp(np.clip(features @ found, np.log(mean) - 2.0, np.log(mean) + 2.0))
        step = np.linalg.solve(gram, features.T @ (magnitude / expected - 1.0) - prior * found)
        found = found + np.clip(step, -0.5, 0.5)
        if float(np.max(np.abs(step))) < 1e-6:
            break
    return found


def _bounded(features: FloatArray, coefficients: FloatArray) -> FloatArray:
    slopes = features[:, 1:] @ coefficients[1:]
    out: FloatArray = np.exp(coefficients[0] + np.clip(slopes, np.log(_BOUNDS[0]), np.log(_BOUNDS[1])))
    return out


def quantiles(scaled: FloatArray, independent: float) -> FloatArray:
    """Return the quantiles of scaled residuals at `PROBABILITIES`, shifted outwards for a sample that is small.

    ``independent`` is the number of residuals that count as independent: with n of them the quantile of p < 1/2 is
    taken at p n/(n + 1) - the finite-sample correction of split conformal prediction.
    """
    part = 1.0 - 1.0 / (independent + 1.0)
    low = PROBABILITIES < 0.5
    at = np.where(low, PROBABILITIES * part, 1.0 - (1.0 - PROBABILITIES) * part)
    found: FloatArray = np.quantile(scaled, np.clip(at, 0.0, 1.0))
    return found


def quantile_at(table: FloatArray, probability: float) -> float:
    """Return the quantile of a probability between those of the table."""
    return float(np.interp(probability, PROBABILITIES, table))
