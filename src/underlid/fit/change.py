"""What a keeper might do to a bin, as a changed case: wrap it, move it, tip it into another, add bedding, feed it.

Each function takes a case and gives a `Change` that holds the changed one, so that changes follow each other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from underlid.bedding.materials import dry_density_kg_m3, material
from underlid.bedding.vessel import Insulation, Vessel
from underlid.fit.evidence import food_kg
from underlid.fit.study import Case
from underlid.heat.moisture import FOOD_WATER
from underlid.quantity import VagueAmount, show_amount, show_when
from underlid.quantity.show import listed
from underlid.records import Base, Feeding, Siting

BIG_FEEDING = 0.05  # of the bedding's wet mass; above it food heats and sours a small bin: common practice, no source
LARGEST_FEEDING = 1.0  # of the bedding's wet mass; more is no feeding: our judgement
SMALLEST_L = 1.0  # the smallest bin that the model is meant for


class NothingChanges(ValueError):
    """A change asks for what is so already."""


class RoomUnknown(ValueError):
    """A bin is moved indoors and nothing says how warm the room is, or a room is named for a bin outside."""


class NoSpaceUnderLid(ValueError):
    """More bedding is to be added than fits under the lid."""


class TooSmall(ValueError):
    """The bin asked for is smaller than the model is meant for."""


class NoFeeding(ValueError):
    """A feeding has no mass, lies in the past or beyond the weather, or is too large to be one."""


@dataclass(frozen=True, slots=True)
class Change:
    """A changed case, a plain sentence for what is altered, what was assumed, and what to beware of.

    room : the air of the room [degC] where the bin is moved indoors, else None
    """

    case: Case
    sentence: str
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    room: VagueAmount | None = None


Changer = Callable[[Case], Change]


def insulate(case: Case, layer: Insulation) -> Change:
    """A dry layer around some faces of the bin, outside whatever is there."""
    vessel = case.situation.vessel
    faces = listed([{"base": "underside"}.get(face, face) for face in layer.faces])
    cautions = [
        "Leave the air holes open: a bin wrapped shut suffocates its worms.",
        "Wet or squashed wrapping is worth little: keep rain and the bin's own drip away from it.",
    ]
    if "base" in layer.faces:
        cautions.append("Keep the drainage holes free below.")
    return Change(
        _with(case, replace(vessel, insulation=(*vessel.insulation, layer))),
        f"wrapped in {_cm(layer.thickness_m)} of {layer.material} ({faces})",
        cautions=tuple(cautions),
    )


def move(case: Case, siting: Siting | None = None, base: Base | None = None, room: VagueAmount | None = None) -> Change:
    """The bin somewhere else, or on something else.

    room : the air there [degC], needed indoors, where the weather says nothing
    Raises NothingChanges and RoomUnknown.
    """
    vessel = case.situation.vessel
    if siting in (None, vessel.siting) and base in (None, vessel.base):
        raise NothingChanges(f"The bin stands in “{vessel.siting}” on “{vessel.base}” already; name another place.")
    if siting == "indoors" and room is None:
        raise RoomUnknown("The weather does not tell how warm a room is; say it with --room, e.g. --room “about 12 C”.")
    if siting != "indoors" and room is not None:
        raise RoomUnknown("--room is for a bin that moves indoors; add --move indoors or leave it out.")
    moved = replace(vessel, siting=siting or vessel.siting, base=base or vessel.base)
    notes = []
    if base not in (None, vessel.base):
        notes.append(
            "What the readings told of the way down to the ground belongs to the old base: it is scaled to the new one "
            "as handbooks have the two, which may be wrong by a factor of two."
        )
    if siting not in (None, vessel.siting):
        notes.append("The wind that reaches the new place is a guess, and the range is widened for that.")
    if siting not in (None, vessel.siting, "indoors"):
        notes.append("The weather given is taken as the air of both places.")
    if moved.siting == "unheated shed" != vessel.siting:
        notes.append("A shed's air is taken as the air outside without its wind: its nights are milder than that.")
    if room is not None:
        notes.append(f"The room is taken as {show_amount(room)} day and night.")
    words = []
    if moved.siting != vessel.siting:
        words.append({"unheated shed": "moved to an unheated shed", "open shelter": "moved under an open shelter"}.get(
            moved.siting, f"moved {moved.siting}"))  # fmt: skip
    if moved.base != vessel.base:
        words.append({"slab": "stood on a slab", "soil": "stood on soil", "feet": "stood on feet"}[moved.base])
    return Change(
        _with(case, moved), " and ".join(words), tuple(notes),
        ("Carry a bin before the frost, level and slowly; do not lift or knock one whose bedding has frozen.",), room,
    )  # fmt: skip


def resize(case: Case, length_m: float, width_m: float, height_m: float, depth_m: float | None = None) -> Change:
    """The bedding in a bin of that inside size, topped up with more of its kind to the same share of the height.

    depth_m : how deep the bedding lies instead
    """
    old = case.situation.vessel
    depth = old.bedding_depth_m / old.height_m * height_m if depth_m is None else depth_m
    length_m, width_m = max(length_m, width_m), min(length_m, width_m)
    new = replace(old, length_m=length_m, width_m=width_m, height_m=height_m, bedding_depth_m=depth)
    if litres_of(new) < SMALLEST_L:
        raise TooSmall(f"A bin of {_sides(new)} holds less than {SMALLEST_L:g} litre, too little to keep worms in.")
    more = 1000 * (new.bedding_m3 - old.bedding_m3)
    if more >= 0:
        topped = (
            f"The {more:.0f} litres of bedding it takes more are of the same kind, as moist and as warm as the old."
        )
    else:
        topped = f"{-more:.0f} litres of the bedding are left over."
    return Change(
        _with(case, new),
        f"in a bin of {_litres(new)} litres ({_sides(new)}), bedding {_cm(depth)} deep",
        (topped, "The food in it and the feedings stay the same."),
        ("Tip the bedding over on a mild day, and keep its layers in order where you can.",),
    )


def add_bedding(case: Case, layers: Sequence[tuple[str, float]]) -> Change:
    """More bedding on top: layers of a known material and a depth [m].

    Raises NoSpaceUnderLid with how much fits.
    """
    old = case.situation.vessel
    more = sum(depth for _, depth in layers)
    space = old.height_m - old.bedding_depth_m
    if more > space + 1e-9:
        fits = f"at most {_cm(space)} more fit" if space >= 0.005 else "the bin is full"
        raise NoSpaceUnderLid(
            f"{_cm(more)} more bedding does not fit under the lid: it lies {_cm(old.bedding_depth_m)} deep in a bin "
            f"{_cm(old.height_m)} high, so {fits}. Give less, or a bigger bin with --size."
        )
    depth = old.bedding_depth_m + more
    dry = (case.situation.dry_kg_m3 * old.bedding_depth_m + dry_density_kg_m3(layers) * more) / depth
    said = listed([f"{_cm(depth)} of {material(name).name}" for name, depth in layers])
    return Change(
        _with(case, replace(old, bedding_depth_m=depth), dry),
        f"with {said} added on top",
        (
            "The new bedding is taken as mixed in, as moist and as warm as the old; laid on dry it shields more, "
            "and the middle is then the middle of the deeper bedding.",
        ),
        ("Moisten it first, and keep some air under the lid.",),
    )


def feed(case: Case, feeding: Feeding) -> Change:
    """A feeding now or later. Raises NoFeeding."""
    when = feeding.when
    if when.end < case.now - timedelta(hours=1):
        raise NoFeeding(f"{show_when(when)} has passed; log that feeding instead, or name a time to come.")
    ahead = replace(when, start=max(when.start, case.now), end=max(when.end, case.now))
    later = replace(feeding, when=ahead)
    food, without = food_kg([later], case.time_utc)
    if without or not food.any():
        raise NoFeeding(
            f"“{feeding.words}” gives the model nothing to go on; write a mass and a time within the weather, e.g. "
            "--feed “500 g melon rind” --feed-when tomorrow."
        )
    kg = float(food.sum())
    share = kg / _wet_kg(case)
    if share > LARGEST_FEEDING:
        raise NoFeeding(f"{kg:.0f} kg of food is more than the bedding itself weighs; check the amount and its unit.")
    cautions = [
        f"Food is taken to warm the bin and, as it is eaten, to give it water, {100 * FOOD_WATER:.0f} % of its mass; "
        "whether it turns sour, or wet in one spot, is not in this model."
    ]
    if share > BIG_FEEDING:
        cautions.append(
            f"That is {share:.0%} of what the bedding weighs: so much at once can heat a small bin and turn sour. Give "
            "it in parts, on one side, so that the worms can get away."
        )
    place = "" if feeding.place == "not noted" else f", {feeding.place}"
    time = "now" if when.start <= case.now else show_when(when)
    said = f"fed {show_amount(feeding.amount)} of {feeding.material}{place} ({time})"
    drive = replace(case.drive, food_kg=case.drive.food_kg + food)
    return Change(replace(case, drive=drive), said, cautions=tuple(cautions))


def _with(case: Case, vessel: Vessel, dry_kg_m3: float | None = None) -> Case:
    dry = case.situation.dry_kg_m3 if dry_kg_m3 is None else dry_kg_m3
    situation = replace(case.situation, vessel=vessel, dry_kg_m3=dry)
    return replace(case, situation=situation, prior=replace(case.prior, situation=situation))


def _wet_kg(case: Case) -> float:
    moist = sum(case.situation.moisture) / 2
    return case.situation.dry_kg_m3 / (1 - moist) * case.situation.vessel.bedding_m3


def litres_of(vessel: Vessel) -> float:
    """What the bin holds to its rim [L]."""
    return 1000 * vessel.length_m * vessel.width_m * vessel.height_m


def _litres(vessel: Vessel) -> str:
    return f"{litres_of(vessel):.0f}"


def _sides(vessel: Vessel) -> str:
    return " x ".join(f"{100 * side:.0f}" for side in (vessel.length_m, vessel.width_m, vessel.height_m)) + " cm"


def _cm(metres: float) -> str:
    return f"{100 * metres:.1f}".removesuffix(".0") + " cm"
