"""Hours from daily minimum and maximum: two published methods, and the sun times they need.

`parton_logan` is the default, because it had the smaller error on real hours (docs/weather.md).
Both assume a day that is coldest near sunrise and warmest in the afternoon. In a winter front the
minimum may fall at any hour, and no method that sees only two numbers a day can know.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from underlid.weather.series import Floats

# Parton & Logan 1981, air at 150 cm, Denver (seen in later documentation, not in the paper itself).
PEAK_AFTER_NOON_H = 1.86
NIGHT_DECAY = 2.20
MINIMUM_AFTER_SUNRISE_H = -0.17

# Cesaraccio et al. 2001 (recalled).
PEAK_BEFORE_SUNSET_H = 4.0
SUNSET_SHARE = 0.39

#: Days shorter or longer than these are treated as this long [h], so that polar days still have a
#: coldest and a warmest hour. Our convention.
DAY_LENGTH_LIMITS_H = (4.0, 20.0)

Method = Callable[[Floats, Floats, Floats, Floats], Floats]


def sun_times(
    day_of_year: NDArray[np.int64], latitude: float, longitude: float, utc_offset_h: float
) -> tuple[Floats, Floats]:
    """Sunrise and sunset in hours of local standard time, each (n,).

    Declination and equation of time after Spencer (1971), the upper limb at the horizon with usual
    refraction (zenith 90.833 degrees), as in NOAA's general solar position equations (recalled). Within
    a few minutes below 60 degrees of latitude. In polar night both are solar noon; in polar day they
    are 12 h either side of it.
    """
    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        raise ValueError(f"Latitude {latitude:g}, longitude {longitude:g} is no place on Earth; give degrees.")
    g = 2.0 * np.pi * (np.asarray(day_of_year, dtype=np.float64) - 0.5) / 365.0
    equation_min = 229.18 * (
        0.000075 + 0.001868 * np.cos(g) - 0.032077 * np.sin(g) - 0.014615 * np.cos(2 * g) - 0.040849 * np.sin(2 * g)
    )
    declination = (
        0.006918
        - 0.399912 * np.cos(g)
        + 0.070257 * np.sin(g)
        - 0.006758 * np.cos(2 * g)
        + 0.000907 * np.sin(2 * g)
        - 0.002697 * np.cos(3 * g)
        + 0.001480 * np.sin(3 * g)
    )
    north = np.radians(np.clip(latitude, -89.9, 89.9))
    cosine = np.cos(np.radians(90.833)) / (np.cos(north) * np.cos(declination)) - np.tan(north) * np.tan(declination)
    half_day = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) / 15.0
    noon = 12.0 - longitude / 15.0 - equation_min / 60.0 + utc_offset_h
    return noon - half_day, noon + half_day


def cesaraccio(tmin_c: Floats, tmax_c: Floats, sunrise_h: Floats, sunset_h: Floats) -> Floats:
    """Hourly air [degC], (n days * 24,), from daily minimum and maximum [degC], each (n,).

    The TM model of Cesaraccio, Spano, Duce & Snyder (2001, Int. J. Biometeorol. 45:161): a sine from
    the minimum at sunrise to the maximum 4 h before sunset, a sine down to sunset, then a square root
    of time to the next minimum. On a day shorter than 8 h the maximum is set at noon (our convention,
    as the published hour would come before it). A day with NaN becomes 24 hours of NaN.

    >>> day = [np.array([value]) for value in (10.0, 30.0, 6.0, 18.0)]
    >>> round(float(cesaraccio(*day)[8]), 5)  # the published example
    17.65367
    """
    d = _hours(tmin_c, tmax_c, sunrise_h, sunset_h, minimum_after_sunrise_h=0.0)
    length = d.fall - d.rise
    peak_h = d.rise + np.maximum(length - PEAK_BEFORE_SUNSET_H, length / 2.0)
    dusk = d.high - SUNSET_SHARE * (d.high - d.next_low)
    up = d.low + (d.high - d.low) * np.sin(0.5 * np.pi * (d.hour - d.rise) / (peak_h - d.rise))
    down = dusk + (d.high - dusk) * np.cos(0.5 * np.pi * (d.hour - peak_h) / (d.fall - peak_h))
    night = dusk + (d.next_low - dusk) * np.sqrt(np.clip((d.hour - d.fall) / (d.next_coldest - d.fall), 0.0, 1.0))
    return np.where(d.hour <= peak_h, up, np.where(d.hour < d.fall, down, night)).ravel()


def parton_logan(tmin_c: Floats, tmax_c: Floats, sunrise_h: Floats, sunset_h: Floats) -> Floats:
    """Hourly air [degC], (n days * 24,), from daily minimum and maximum [degC], each (n,).

    Parton & Logan (1981, Agric. Meteorol. 23:205): a truncated sine by day and an exponential fall to
    the next minimum by night, with their coefficients for air at 150 cm. As published, the night ends
    a little above the minimum and steps down to it. A day with NaN becomes 24 hours of NaN.
    """
    d = _hours(tmin_c, tmax_c, sunrise_h, sunset_h, minimum_after_sunrise_h=MINIMUM_AFTER_SUNRISE_H)
    period = d.fall - d.rise + 2.0 * PEAK_AFTER_NOON_H
    day = d.low + (d.high - d.low) * np.sin(np.pi * (d.hour - d.coldest) / period)
    dusk = d.low + (d.high - d.low) * np.sin(np.pi * (d.fall - d.coldest) / period)
    passed = np.maximum((d.hour - d.fall) / (d.next_coldest - d.fall), 0.0)
    night = d.next_low + (dusk - d.next_low) * np.exp(-NIGHT_DECAY * passed)
    return np.where(d.hour < d.fall, day, night).ravel()


@dataclass(frozen=True, slots=True)
class _Hours:
    """What each hour needs to know of its thermal day, which runs from one coldest hour to the next.

    Arrays are (days, 24). Hours before today's coldest belong to yesterday's thermal day: there `low`,
    `high`, `rise`, `fall` are yesterday's, `next_low` is today's, and `hour` counts on past 24.
    """

    hour: Floats
    low: Floats
    high: Floats
    rise: Floats
    fall: Floats
    coldest: Floats
    next_low: Floats
    next_coldest: Floats


def _hours(
    tmin_c: Floats, tmax_c: Floats, sunrise_h: Floats, sunset_h: Floats, *, minimum_after_sunrise_h: float
) -> _Hours:
    days = len(tmin_c)
    if days == 0 or any(a.shape != (days,) for a in (tmin_c, tmax_c, sunrise_h, sunset_h)):
        raise ValueError("Minimum, maximum, sunrise and sunset must be arrays of the same number of days, at least 1.")
    if np.any(tmin_c > tmax_c):
        day = int(np.flatnonzero(tmin_c > tmax_c)[0])
        raise ValueError(f"Day {day + 1} has a minimum above its maximum; swap or mend them.")
    noon = (sunrise_h + sunset_h) / 2.0
    half = np.clip(sunset_h - sunrise_h, *DAY_LENGTH_LIMITS_H) / 2.0
    rise, fall = noon - half, noon + half
    yesterday, tomorrow = np.maximum(np.arange(days) - 1, 0), np.minimum(np.arange(days) + 1, days - 1)
    unknown = np.isnan(tmin_c + tmax_c)
    blank = np.where(unknown, np.nan, 0.0)[:, None]  # makes every hour of an unknown day unknown

    def lent(values: Floats, neighbour: NDArray[np.int64]) -> Floats:
        """The neighbour's value, or the day's own where the neighbour is not known."""
        return np.where(unknown[neighbour], values, values[neighbour])

    hour = np.arange(24.0)
    coldest = rise + minimum_after_sunrise_h
    early = hour < coldest[:, None]

    def pick(yesterdays: Floats, todays: Floats) -> Floats:
        return np.where(early, yesterdays[:, None], todays[:, None])

    return _Hours(
        hour=hour + 24.0 * early,
        low=pick(lent(tmin_c, yesterday), tmin_c) + blank,
        high=pick(lent(tmax_c, yesterday), tmax_c) + blank,
        rise=pick(rise[yesterday], rise),
        fall=pick(fall[yesterday], fall),
        coldest=pick(coldest[yesterday], coldest),
        next_low=pick(tmin_c, lent(tmin_c, tomorrow)),
        next_coldest=pick(coldest, coldest[tomorrow]) + 24.0,
    )


#: What `read_weather` uses for daily files: the method with the smaller measured error.
DEFAULT_METHOD: Method = parton_logan
