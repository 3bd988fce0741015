"""What a plain CSV's headings mean.

Headings are understood in any case, with or without brackets and degree signs:

=============  ==========================================================================
time           `time`, `datetime`, `timestamp`, `time_utc`; or `date` with `time` or `hour`
temperature    `air`, `temp`, `temperature` ... with `_c` or `_f`
daily          `date` with `tmin` and `tmax` (also `temp_min`, `min_temp` ...)
wind           `wind`, `wind_speed` with `_m_s`, `_km_h` or `_mph`
humidity       `humidity`, `rh`
radiation      `radiation`, `ghi`
=============  ==========================================================================
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import product

from underlid.weather.rows import AIR_LIMITS_C


@dataclass(frozen=True, slots=True)
class Meaning:
    """A heading's quantity, how to make its unit ours (scale * (value - zero)), and the values to expect."""

    quantity: str
    zero: float = 0.0
    scale: float = 1.0
    low: float = 0.0
    high: float = 0.0
    assumed: str = ""  # the unit taken because the heading names none

    def convert(self, value: float) -> float:
        """The value in our unit."""
        return self.scale * (value - self.zero)


_AIR_NAMES = ("air", "air_temp", "air_temperature", "temp", "temperature", "t", "t_air", "tair", "dry_bulb")
_MIN_NAMES = ("tmin", "t_min", "temp_min", "min_temp", "temperature_min", "min_temperature", "minimum", "min")
_MAX_NAMES = ("tmax", "t_max", "temp_max", "max_temp", "temperature_max", "max_temperature", "maximum", "max")
_WIND_NAMES = ("wind", "wind_speed", "windspeed")
_CELSIUS, _FAHRENHEIT = ("_c", "_degc", "_celsius"), ("_f", "_degf", "_fahrenheit")
_SPEEDS = {"_m_s": 1.0, "_ms": 1.0, "_mps": 1.0, "_km_h": 1 / 3.6, "_kmh": 1 / 3.6, "_kph": 1 / 3.6, "_mph": 0.44704}


def _known() -> dict[str, Meaning]:
    known = {
        name: Meaning("time") for name in ("time", "datetime", "date_time", "timestamp", "local_time", "time_hour")
    }
    known |= {name: Meaning("time_utc") for name in ("time_utc", "utc", "utc_time", "datetime_utc", "timestamp_utc")}
    known |= {"date": Meaning("date"), "hour": Meaning("hour")}
    low, high = AIR_LIMITS_C
    for quantity, names in (("air_c", _AIR_NAMES), ("tmin_c", _MIN_NAMES), ("tmax_c", _MAX_NAMES)):
        for name in names:
            known[name] = Meaning(quantity, low=low, high=high, assumed="°C")
        known |= {a + b: Meaning(quantity, low=low, high=high) for a, b in product(names, _CELSIUS)}
        fahrenheit = Meaning(quantity, 32.0, 1 / 1.8, low * 1.8 + 32.0, high * 1.8 + 32.0)
        known |= {a + b: fahrenheit for a, b in product(names, _FAHRENHEIT)}
    for name in _WIND_NAMES:
        known[name] = Meaning("wind_m_s", high=120.0, assumed="m/s")
        known |= {name + unit: Meaning("wind_m_s", scale=k, high=120.0 / k) for unit, k in _SPEEDS.items()}
    for name in ("humidity", "relative_humidity", "rh", "humid"):
        known |= {name + unit: Meaning("humidity_pct", high=110.0) for unit in ("", "_pct", "_percent")}
    for name in ("radiation", "global_radiation", "solar_radiation", "ghi"):
        known |= {name + unit: Meaning("radiation_w_m2", high=2000.0) for unit in ("", "_w_m2")}
    return known


KNOWN = _known()


def meaning(heading: str) -> Meaning | None:
    """What a heading means, or None. `Air Temp. (°F)` and `air_temp_f` are the same."""
    plain = heading.lower().replace("%", "pct").replace("²", "2")
    return KNOWN.get(re.sub(r"[^a-z0-9]+", "_", plain).strip("_"))
