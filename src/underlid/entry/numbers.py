"""Numbers in words, and temperatures written with them: "six C", "minus three degrees", "twenty-one °C"."""

from __future__ import annotations

import re

_ONES = "one|two|three|four|five|six|seven|eight|nine"
NUMBER_WORD = (
    rf"(?:(?:twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)(?:[ -](?:{_ONES}))?|zero|{_ONES}|ten|eleven|twelve"
    r"|(?:thir|four|fif|six|seven|eigh|nine)teen)(?!\w)"
)
DEGREE = (
    r"(?:°\s?[cf]?|º\s?[cf]?|℃|℉|(?:deg(?:ree)?s?\s*)?[cf](?!\w)|deg(?:ree)?s?(?!\w)|celsius|fahrenheit|centigrade)"
)
# Words that a "C" or "degrees" follows: a temperature only where nothing else is left, as "one C battery" is none.
WORDED_TEMPERATURE = (
    rf"(?<!\w)(?:(?:minus\s+|-\s?)?{NUMBER_WORD}\s*(?:[-–]|to|or)\s*)?(?:minus\s+|[-−]\s?)?{NUMBER_WORD}"
    rf"(?:\s+and\s+a\s+half|[\s-]?ish|\s+or\s+so)?\s*{DEGREE}"
)
# "6 degrees colder than the air" is a difference, and no reading.
_DIFFERENCE = re.compile(
    rf"(?<![^\W\d_]){DEGREE}\s+(?:(?:colder|cooler|warmer|hotter)(?!\w)|(?:higher|lower|more|less)\s+than(?!\w)|(?:up|down)\s*$"
    r"|(?:above|below|over|under)\s+(?:the\s+)?(?:air|ambient|outside|room)(?!\w))",
    re.IGNORECASE,
)


def is_difference(text: str) -> bool:
    """Whether a temperature is told as so many degrees more or less than another."""
    return _DIFFERENCE.search(text) is not None
