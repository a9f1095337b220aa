"""A time with its spread."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

Shape = Literal["fixed", "exponential", "triangular", "lognormal"]


@dataclass(frozen=True, slots=True)
class Spread:
    """A time in s that varies.

    `fixed`: always `mean`. `exponential`: its standard deviation is its mean. `triangular`: mean ± `ratio` · mean at
    the ends. `lognormal`: standard deviation `ratio` · mean, never below 0, with a long tail.
    """

    mean: float
    shape: Shape = "fixed"
    ratio: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mean) and self.mean >= 0 and self.ratio >= 0):
            raise ValueError(f"mean and ratio must be finite and not below 0: {self.mean}, {self.ratio}")
        if self.shape == "triangular" and self.ratio > 1:
            raise ValueError(f"a triangular time can't go below 0: ratio {self.ratio:g}, allowed is up to 1")

    def draw(self, rng: np.random.Generator) -> float:
        """One time, s."""
        if self.mean == 0 or self.shape == "fixed" or (self.ratio == 0 and self.shape != "exponential"):
            return self.mean
        if self.shape == "exponential":
            return float(rng.exponential(self.mean))
        if self.shape == "triangular":
            low, high = self.mean * (1 - self.ratio), self.mean * (1 + self.ratio)
            return float(rng.triangular(low, self.mean, high))
        sigma2 = math.log1p(self.ratio**2)
        return float(rng.lognormal(math.log(self.mean) - sigma2 / 2, math.sqrt(sigma2)))
