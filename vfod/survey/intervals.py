"""Intervals of shares, 95 % confidence: the arithmetic beneath occupancy, without a library.

A night on a small board must not wait for a scientific library to load, and what is needed here is
short: Wilson's interval, the trigamma function, and the aliasing of a two-state process.
"""

from math import ceil, exp, log, sqrt, tanh

#: Normal quantile of a two-sided confidence of 95 %, rounded as the tables of the trade do.
Z95 = 1.96

#: From here on the asymptotic series of the trigamma function is exact to ten digits.
_SERIES_FROM = 10.0
#: Below this the aliasing is its own first term to eight digits.
_SLOW = 1e-3


def wilson(share: float, count: float) -> tuple[float, float]:
    """Wilson's interval for a share seen in `count` independent trials (need not be whole).

    It does not degenerate at 0 and 1, as the normal one does (Wilson, JASA 22, 1927).
    """
    spread = Z95 * Z95 / count
    centre = (share + spread / 2) / (1 + spread)
    half = sqrt(share * (1 - share) * spread + spread * spread / 4) / (1 + spread)
    return max(0.0, centre - half), min(1.0, centre + half)


def logistic(share: float, deviation: float) -> tuple[float, float]:
    """The interval of a share whose log-odds have that standard deviation."""
    odds = share / (1 - share)
    factor = exp(Z95 * deviation)
    return odds / (odds + factor), odds * factor / (odds * factor + 1)


def trigamma(x: float) -> float:
    """Second derivative of the logarithm of the gamma function, for x > 0.

    Recurrence and asymptotic series: NIST Digital Library of Mathematical Functions 5.5.2, 5.15.8.
    """
    shifted = 0.0
    while x < _SERIES_FROM:
        shifted += 1 / (x * x)
        x += 1
    r = 1 / (x * x)
    return shifted + 1 / x + r / 2 + r / x * (1 / 6 - r * (1 / 30 - r * (1 / 42 - r / 30)))


def aliasing(correlation: float) -> float:
    """Variance of "share of the time less share of the visits", over that of independent visits.

    For a two-state Markov process seen at equal distances, with this correlation between
    neighbouring visits. What a comb of visits mistakes for the mean is the process's spectrum at
    the multiples of the comb's frequency; summed, with x = -ln(correlation), coth(x/2) - 2/x.
    0 for one that never changes (x/6, as if every change-over lay anywhere in its gap: a uniform
    distribution's 1/12 for each), 1 for visits that know nothing of each other.
    """
    if correlation <= 0:
        return 1.0
    if correlation >= 1:
        return 0.0
    decay = -log(correlation)
    return decay / 6 if decay < _SLOW else 1 / tanh(decay / 2) - 2 / decay


def mean_of_chain(correlation: float, count: float) -> float:
    """Variance of the mean of `count` visits, over that of one visit.

    For a Markov chain with two states; 1 / count where the visits know nothing of each other.
    """
    r = correlation
    if r >= 1 or r <= 0:
        return 1.0 if r >= 1 else 1 / count
    return ((1 + r) / (1 - r) - 2 * r * (1 - exp(count * log(r))) / (count * (1 - r) ** 2)) / count


def visits_needed(share: float, *, error: float = 0.1, correlation: float = 0.0) -> int | None:
    """Visits that know a share to a relative error at 95 %; None where nothing was active.

    Independent visits by the normal approximation of the binomial, dependent ones
    (1 + correlation) / (1 - correlation) times as many (first-order Markov chain).
    """
    if share <= 0 or correlation >= 1:
        return None
    return ceil(
        (Z95 / error) ** 2 * (1 - share) / share * (1 + correlation) / (1 - correlation) - 1e-9
    )
