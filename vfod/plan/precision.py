"""How well an occupancy can be known from so many visits.

Binomial, normal approximation (textbook): n independent visits know an occupancy p to the
relative error z * sqrt((1-p) / (p n)).
Visits that follow each other closely are not independent, so these are the best cases.
"""

from math import ceil, sqrt

#: Normal quantile of a two-sided confidence of 95 %, rounded as the tables of the trade do.
Z95 = 1.96


def relative_error(visits: int, occupancy: float) -> float:
    """Relative error, 95 % confidence; `occupancy` from 0 to 1. Infinite where nothing is known."""
    if visits <= 0 or occupancy <= 0:
        return float("inf")
    return Z95 * sqrt((1 - occupancy) / (occupancy * visits))


def visits_needed(occupancy: float, error: float = 0.1) -> int:
    """Independent visits for a relative error of at most `error` at 95 % confidence."""
    return ceil((Z95 / error) ** 2 * (1 - occupancy) / occupancy)
