"""What a clause that is kept as a note may have been meant for, and how that is written.

A hint is an example in the keeper's own figures. It is given only if the example is understood as what it is said to
be, so nobody is sent from one note to the next.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from underlid.entry.animals import ANIMAL
from underlid.entry.feedings import amount_of_food
from underlid.entry.numbers import NUMBER_WORD
from underlid.entry.places import find_place
from underlid.entry.readings import temperature_in
from underlid.entry.said import Known
from underlid.records import Feeding, Reading, Sighting


class Hint(NamedTuple):
    """`what` the words look like ("a temperature"), of which `kind`, and the `example` of how to write it."""

    what: str
    kind: type[Reading] | type[Feeding] | type[Sighting]
    example: str


_NUMBER = rf"(?:\d{{1,9}}(?:[.,]\d{{1,9}})?|{NUMBER_WORD})"
_RANGE = rf"(?<![\w.,]){_NUMBER}(?:\s*(?:[-–]|to|or)\s*{_NUMBER})?"
_COUNT = re.compile(rf"(?<!\bat )(?<!\bday )(?<!\bweek )({_RANGE})\s+(?:(?!\d)\w+\s+){{0,2}}$", re.IGNORECASE)
_COUNT_AFTER = re.compile(rf"\s*[:=]?\s*({_RANGE})(?=\s*(?:$|[,.;)]))", re.IGNORECASE)
# Deaths, escapes and animals moved are notes and no sightings; the stop rules read some of them.
_NO_SIGHTING = re.compile(
    r"(?<!\w)(?:lost|dead|died|dying|deaths?|escap\w*|added|put|moved|took|taken|removed|bought|gave|given|sold|fed|weigh\w*|per|for"
    r"|drowned|crawl\w*\s+(?:out|off|away)|left)(?!\w)",
    re.IGNORECASE,
)
# What is taken out, drained or only spoken of is no feeding.
_NO_FEEDING = re.compile(
    r"(?<!\w)(?:harvest\w*|empt(?:y|ied)\w*|took|taken|remov\w*|sieved|sifted|drained|drain\w*|leach\w*|tea|castings?|casts"
    r"|lost|skipped|missed|eaten|holds?|weigh\w*|per|left|smell\w*|out)(?!\w)",
    re.IGNORECASE,
)
# What was not done, or not yet.
_UNREAL = re.compile(
    r"(?<!\w)(?:(?:did|have|has|had|was|were|do|does)(?:n['’]?t|\s+not)|not|never|will|would|should|could|might|must|going\s+to"
    r"|want\w*|plan\w*|forgot\w*|tomorrow|next\s+(?:week|month))(?!\w)",
    re.IGNORECASE,
)
_PH = re.compile(rf"(?<!\w)ph(?!\w)[^\d;]{{0,20}}?({_RANGE})|({_RANGE})\s*ph(?!\w)", re.IGNORECASE)
_EC = re.compile(rf"{_RANGE}\s*[mdµu]s(?:/c?m)?(?!\w)", re.IGNORECASE)
_PERCENT = re.compile(
    rf"({_RANGE})\s*(?:%|percent(?!\w)|per\s+cent(?!\w))(?!\s*(?:of|gone|eaten|less|more|full|done)(?!\w))",
    re.IGNORECASE,
)
_VERB_BEFORE = re.compile(r".*(?<!\w)(?:in|of|with|them|put|got|had|ate|is|was)(?!\w)|.*[,:(]", re.IGNORECASE)
_WORDS_AFTER = re.compile(
    r"\s*((?:of\s+)?(?:[^\W\d_][\w-]*)(?:\s+(?!in\b|into\b|at\b|on\b|to\b|for\b)[^\W\d_][\w-]*){0,2})"
)


def hints(text: str, known: Known) -> Iterator[Hint]:
    """What the words may have been meant for, likeliest first; the examples are not tried yet."""
    _, place, _, _ = find_place(text)
    where = "" if place == "not noted" else f" {'in' if place == 'middle' else 'at'} the {place}"
    if (number := temperature_in(text)) is not None:
        yield Hint("a temperature", Reading, f"{'middle' if place == 'not noted' else place} {number}")
    if ph := _PH.search(text):
        yield Hint("a pH", Reading, f"pH {ph[1] or ph[2]}{where}")
    if ec := _EC.search(text):
        yield Hint("a reading of EC", Reading, f"EC {ec[0]}{where}")
    if percent := _PERCENT.search(text):
        yield Hint("a moisture", Reading, f"moisture {percent[1]} %{where}")
    if _UNREAL.search(text):
        return
    yield from _sightings(text, where)
    if not _NO_FEEDING.search(text):
        yield from _feedings(text, known)


def _sightings(text: str, where: str) -> Iterator[Hint]:
    animal = ANIMAL.search(text)
    if animal is None or _NO_SIGHTING.search(text):
        return
    beside = _COUNT.search(text[: animal.start()]) or _COUNT_AFTER.match(text, animal.end())
    if beside:
        noun = " ".join(animal[0].split())
        joined = "" if re.match(r"(?:with|ha[sd]|having|showing|of)\b", noun, re.IGNORECASE) is None else "worms "
        yield Hint("a sighting", Sighting, f"saw {beside[1]} {joined}{noun}{where}")


def _feedings(text: str, known: Known) -> Iterator[Hint]:
    found = amount_of_food(known).search(text)
    if found is None:
        if heading := re.match(r"feeding\s*:\s*(?=[^\W\d_])(.{1,60})$", text, re.IGNORECASE):
            yield Hint("a feeding", Feeding, f"fed {heading[1]}")
        return
    amount = " ".join(found[0].split())
    if after := _WORDS_AFTER.match(text, found.end()):
        given = "added" if re.search(r"\bwater$", after[1], re.IGNORECASE) else "fed"
        yield Hint("a feeding", Feeding, f"{given} {amount} {after[1]}")
    before = _VERB_BEFORE.sub("", text[: found.start()], count=1).split()
    if before:
        yield Hint("a feeding", Feeding, f"fed {amount} {' '.join(before[-3:])}")
    yield Hint("a feeding", Feeding, f"fed {amount} of coffee grounds")
