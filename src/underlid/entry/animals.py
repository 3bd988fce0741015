"""Clauses about animals: counts out of a known volume, by stage, and sightings."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from underlid.entry.places import blank, find_place
from underlid.entry.said import Known, Said, spaces, without_lead
from underlid.entry.split import AMOUNT_BEGINS, Clause
from underlid.quantity import AmountError, VagueAmount, parse_amount
from underlid.records import SampleCount, Sighting, Stage

# Only an adult earthworm has a saddle (clitellum): OECD 222 (2016) calls adult worms clitellate.
_SADDLED = (
    r"(?:(?:adults?|adult\s+worms?|worms?)\s+)?(?:of\s+them\s+)?(?:with|ha(?:s|d|ve|ving)|showing)\s+"
    r"(?:(?:an?|the|their|visible|clear)\s+)*(?:saddles?|clitell(?:um|ums|a))"
    r"|(?:saddled|clitellate)(?:\s+(?:adults?|worms?))*"
)
_STAGES: tuple[tuple[Stage, str], ...] = (
    ("cocoon", r"cocoons?"),
    ("hatchling", r"hatchlings?|babies|baby\s+worms?"),
    ("juvenile", r"juveniles?|juvs?|young\s+worms?"),
    ("sub-adult", r"sub-?\s?adults?"),
    ("adult", rf"{_SADDLED}|adults?(?:\s+worms?)?"),
)
ANIMAL = re.compile(
    r"\b(?:" + "|".join(f"(?P<s{n}>{words})" for n, (_, words) in enumerate(_STAGES)) + r"|worms?)(?!\w)", re.IGNORECASE
)
_SEEN = re.compile(
    r"\b(?:(?:i\s+)?(?:saw|seen|see|spotted|found|counted|visible)|there\s+(?:are|were))(?!\w)", re.IGNORECASE
)
# Nobody says "a dozen" of degrees.
_COUNTING = re.compile(r"\b(?:dozens?|couple|few|several|hundreds?|thousands?|no|none)(?!\w)", re.IGNORECASE)
_SAMPLE = re.compile(r"(?:sampled?|counted|count)(?!\w)\s*(?:of\s+|:)?", re.IGNORECASE)
_FULL_SORT = re.compile(
    r"(?:full\s+(?:sort|count)|(?:sorted|counted)\s+(?:all\s+of\s+it|everything|them\s+all|the\s+whole\s+bin))(?!\w)\s*:?\s*",
    re.IGNORECASE,
)
_VOLUME = re.compile(r"(?<!\w)(?:in|from)\s+(?=(?:an?|one|half|about|\d|[½¼¾]))", re.IGNORECASE)


def is_sample(sentence: Clause) -> bool:
    """Whether the sentence counts a sample, whose commas divide stages and not clauses."""
    verb = _SAMPLE.match(sentence.text)
    if _FULL_SORT.match(sentence.text):
        return True
    if verb is None:
        return False
    return verb[0].lower().startswith("sample") or bool(_VOLUME.search(sentence.text)) or ":" in sentence.text


def counts_animals(text: str) -> bool:
    """Whether a noun, a verb of seeing or a counting word makes its number one of animals."""
    return any(pattern.search(text) for pattern in (ANIMAL, _SEEN, _COUNTING))


def sample(clause: Clause, known: Known) -> Said:
    """Counts by stage, and the volume they came from."""
    if whole := _FULL_SORT.match(clause.text):
        return _full_sort(clause, clause.part(whole.end()), known)
    verb = _SAMPLE.match(clause.text)
    body_at = verb.end() if verb else 0
    colon = clause.text.find(":", body_at)
    volume = _VOLUME.search(clause.text, max(colon, body_at))
    if volume is not None:
        counts = clause.part(colon + 1 if colon >= 0 else body_at, volume.start())
        sampled = clause.part(volume.end())
    elif colon >= 0:
        counts, sampled = clause.part(colon + 1), clause.part(body_at, colon)
    else:
        mend = "Write it, as 'sample 0.5 L middle: 3 adults, 8 juveniles'."
        raise clause.error("the volume of the sample, or the counts, are missing", len(clause.text), mend)
    text, place, _, notes = find_place(sampled.text)
    volume_l = known.amount(sampled, re.sub(r"\bof\s+bedding\b", spaces, text).rstrip(" ,"), 0, "L")
    stages = _stages(counts, known)
    fields = {"volume": volume_l, "counts": tuple(stages.items()), "place": place}
    flags = tuple(flag for count in stages.values() for flag in count.flags)
    return Said(SampleCount, fields, notes + volume_l.flags + flags)


def _full_sort(clause: Clause, counts: Clause, known: Known) -> Said:
    """Counts by stage out of all the bedding, which is no more than was laid."""
    if known.bedding_l is None:
        mend = "Write it as a sample of all of it, as 'sample 25 L: 40 adults, 60 juveniles'."
        raise clause.error("how much bedding there is was not noted for this bin, so its volume is needed", 0, mend)
    stages = _stages(counts, known)
    if not stages:
        raise clause.error("the counts are missing", len(clause.text), "Write 'full sort: 40 adults, 60 juveniles'.")
    laid = VagueAmount(known.bedding_l, known.bedding_l, "L", "exact", "all of the bedding")
    note = f"all of the bedding is taken as sorted, {known.bedding_l:.3g} L as it was laid"
    flags = tuple(flag for count in stages.values() for flag in count.flags)
    return Said(SampleCount, {"volume": laid, "counts": tuple(stages.items()), "place": "not noted"}, (note, *flags))


def _stages(counts: Clause, known: Known) -> dict[Stage, VagueAmount]:
    stages: dict[Stage, VagueAmount] = {}
    for found in re.finditer(r"(?:(?!,\s|\s(?:and|&|\+)\s).)+", counts.text, re.IGNORECASE):
        part = counts.part(found.start() + (4 if found[0].lower().startswith(" and") else 0), found.end())
        for stage, count in _count(part, known).items():
            if stage in stages:
                raise part.error(f"{stage} is counted twice", 0, "Write each stage once.")
            stages[stage] = count
    return stages


def _count(part: Clause, known: Known) -> dict[Stage, VagueAmount]:
    text = re.sub(r"^(?:and|&|\+|,)\s+", spaces, part.text)
    animal = ANIMAL.search(text)
    if re.fullmatch(r"\s*(?:none|nothing|no\s+worms?)\s*", text, re.I):
        none = parse_amount("none")
        named = [stage for stage, _ in _STAGES if animal is None or stage != "cocoon"]
        return {stage: replace(none, words=part.text) for stage in named}
    stage = _stage(animal)
    if animal is None or stage == "not noted":
        names = ", ".join(name for name, _ in _STAGES)
        mend = f"Write one of {names}, as '3 adults'; without stages, 'saw 3 worms'."
        raise part.error("a count needs its stage", len(part.text), mend)
    return {stage: known.amount(part, blank(text, *animal.span()).rstrip(" ."), 0, "1")}


def sighting(clause: Clause) -> Said | None:
    """How many were seen, or None where the clause tells of none."""
    animals = ANIMAL.search(clause.text)
    text, place, _, notes = find_place(clause.text)
    seen = _SEEN.search(text)
    if animals is None and not seen and (place == "not noted" or not _COUNTING.search(text)):
        return None
    text = blank(text, *animals.span()) if animals else text
    text = _SEEN.sub(spaces, text)
    text = re.sub(r"\b(?:in\s+all|alive|live)\b|\bof(?=\s*$)", spaces, text)
    text = without_lead(text)
    if not AMOUNT_BEGINS.match(text.strip() + " "):
        return None
    try:
        amount = parse_amount(text.rstrip(" ,."), expect="1")
    except AmountError:
        return None  # "two dead worms", "3 mites": true words, but no sighting of living worms
    if amount.kind == "not noted":
        return None
    amount = replace(amount, words=" ".join(text.split()))
    return Said(Sighting, {"amount": amount, "stage": _stage(animals), "place": place}, notes + amount.flags)


def _stage(animal: re.Match[str] | None) -> Any:
    if animal is None:
        return "not noted"
    return next((stage for n, (stage, _) in enumerate(_STAGES) if animal[f"s{n}"]), "not noted")
