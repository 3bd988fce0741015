"""Weather outside the bin: reading files, filling gaps, making hours from days, and what may come.

weather = read_weather(demo_weather())          # TMY3, EPW or plain CSV
gaps(weather); fill_gaps(weather, max_hours=6)  # gaps stay gaps unless you ask
lay_over(weather, start, end)                   # a typical year on real dates
members(climate([weather]), start, 24 * 60)     # what the next 60 days may bring
"""

from underlid.weather.climate import Climate, ClimateError, climate, hour_range, members
from underlid.weather.files import demo_weather, read_weather
from underlid.weather.hourly import cesaraccio, parton_logan, sun_times
from underlid.weather.rows import WeatherFileError
from underlid.weather.series import Gap, NotATypicalYear, Weather, fill_gaps, gaps, lay_over

__all__ = [
    "Climate",
    "ClimateError",
    "Gap",
    "NotATypicalYear",
    "Weather",
    "WeatherFileError",
    "cesaraccio",
    "climate",
    "demo_weather",
    "fill_gaps",
    "gaps",
    "hour_range",
    "lay_over",
    "members",
    "parton_logan",
    "read_weather",
    "sun_times",
]
