"""What stands around the month: the bin from its record, cautions, and where the numbers come from."""

from __future__ import annotations

import math

from underlid import __version__
from underlid.records import Bin
from underlid.update.facts import Story
from underlid.update.prose import acidwords, phrases
from underlid.update.prose.said import Said


def kind_of_bin(story: Story) -> str:
    """The bin in one line."""
    where = {"open shelter": "in an open shelter", "outdoors": "outdoors", "unheated shed": "in an unheated shed"}
    return (
        f"About {phrases.number(story.refuge.bedding_litres, 0)} litres of bedding "
        f"{where.get(story.bin.siting, story.bin.siting)}, {story.bin.species}"
    )


def bin_facts(story: Story) -> tuple[tuple[str, str, str], ...]:
    """The bin from its record: a term, the keeper's words, what they were taken to mean."""
    bin = story.bin
    thick = bin.wall_thickness.words  # not always the keeper's: most walls are taken to be as usual
    founders = [side for side in (bin.founders.low, bin.founders.high) if 0 <= side < float("inf")]
    taken = f"({phrases.ends(founders[0], founders[-1])})" if founders else ""
    return (
        ("Started", bin.started.words, ""),
        # One box is usually written once, so its words are said once.
        ("Length inside", bin.length.words, phrases.length(bin.length)),
        ("Width inside", bin.width.words if bin.width.words != bin.length.words else "", phrases.length(bin.width)),
        ("Height inside", bin.height.words if bin.height.words != bin.length.words else "", phrases.length(bin.height)),
        ("Walls", thick if thick and thick in bin.words else "", _wall(bin)),
        ("Stands", "", f"{bin.siting}, on {bin.base}"),
        ("Founders", bin.founders.words, f"{taken} {bin.species}, {story.refuge.common_name}".strip()),
        *(
            (f"Layer {layer.position + 1}", layer.words, f"{layer.material}, {layer.depth.words} deep, "
             f"moisture: {layer.moisture.words or 'not noted'}")
            for layer in bin.layers
        ),
    )  # fmt: skip


def why(story: Story) -> str:
    """Why it matters, for a child: what is known of worms in general, chosen by what the month brought."""
    low = story.refuge.band_c[0]
    if story.refuge.ice.high > 0:
        return "Worms slow down in the cold, and ice can kill them."
    if story.coldest.temperature.low < low:
        return "Worms slow down when it gets too cold for them."
    if any(one.outside is not None and one.outside >= acidwords.FINE for one in story.acid):
        return "Worms can get hurt where the bedding is too sour."
    if story.eaten is not None and story.eaten.feedings:
        return "Worms eat what goes soft, and food that is left too long goes bad."
    return "Worms need to be damp, and not too hot or too cold."


def care(story: Story) -> tuple[Said, ...]:
    """A short list of cautions that bear on this month."""
    low = story.refuge.band_c[0]
    spans = [story.coldest, *(span.coldest for span in (story.soon, story.rest) if span is not None)]
    said = []
    if story.refuge.ice.high > 0 or any(span.temperature.low < low for span in spans):
        said.append(Said(
            "Ice in the bedding can kill adult worms. Shelter or insulate the bin before a cold spell, and leave "
            "frozen bedding undisturbed until it has thawed.",
            "Ice can kill worms. Keep the bin out of the cold, and do not dig in it while it is frozen.",
            evidence=("species",),
        ))  # fmt: skip
    return (
        *said,
        Said(
            "Wash your hands after handling bedding, and keep open wounds covered.",
            "Wash your hands when you have touched the bedding.",
        ),
        Said(
            "Handle bedding moist, not dusty: dry bedding lets mould spores fly. With a weakened immune system, leave "
            "the handling to others.",
            "Keep the bedding damp, so that no dust flies up.",
        ),
        Said(
            "Do not release composting worms into woods or fields: where they are not native they do harm.",
            "Do not let these worms go in a wood or a field. They can do harm there.",
        ),
        Said("Follow local rules on food waste and on keeping worms.", "Ask which rules there are where you live."),
    )


def sources(story: Story) -> tuple[tuple[str, str], ...]:
    """Where the weather and the species' band come from, and how the account was made."""
    found = [("Weather", story.weather_source + (" (a typical year, not the real one)" if story.typical else ""))]
    if story.past_years:
        found.append(
            ("Past years", f"{phrases.count(story.past_years, 'sequence')} of weather stand in beyond the forecast")
        )
    low, high = story.refuge.band_sources
    limits = [phrases.warmth(side) for side in story.refuge.band_c]
    found += [(f"Lower limit {limits[0]}", low), (f"Upper limit {limits[1]}", high)]
    runs = phrases.count(story.draws, "run")
    made = f"underlid {__version__}: method {story.method}, seed {story.seed}, {runs} of the model"
    return *((term, said.replace("degC", "°C")) for term, said in found), ("Made with", made)


def _wall(bin: Bin) -> str:
    """ "polypropylene, 2.5 to 3.5 mm thick"."""
    sides = [1000 * side for side in (bin.wall_thickness.low, bin.wall_thickness.high) if math.isfinite(side)]
    return f"{bin.wall}, {phrases.ends(sides[0], sides[-1], 'mm')} thick" if sides else bin.wall
