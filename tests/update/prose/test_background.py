from __future__ import annotations

from dataclasses import replace

from tests.update import living
from tests.update.living import ACID, EATEN, ranged
from underlid.update.facts import Story
from underlid.update.prose import background


def walls(story: Story) -> tuple[str, str]:
    ((_, quoted, said),) = (fact for fact in background.bin_facts(story) if fact[0] == "Walls")
    return quoted, said.replace("\u00a0", " ")


def test_a_wall_is_quoted_only_where_the_keeper_said_it() -> None:
    story = living.story()
    assert walls(story) == ("", "polypropylene, 3 mm thick")
    said = replace(story, bin=replace(story.bin, words="an old tote, sides 3 mm"))
    assert walls(said) == ("3 mm", "polypropylene, 3 mm thick")


def test_ice_is_told_to_grown_ups_and_children_alike() -> None:
    (ice, *_) = background.care(living.story())
    assert "can kill" in ice.full
    assert "can kill" in ice.short


def test_a_child_is_told_why_what_happened_matters() -> None:
    story = living.story()
    mild = replace(
        story, coldest=replace(story.coldest, temperature=ranged(4, 5, 6, "degC")),
        refuge=replace(story.refuge, ice=ranged(0, 0, 0, "%")), acid=(replace(ACID[0], outside=0.01),),
        eaten=replace(EATEN, feedings=0),
    )  # fmt: skip
    told = {
        "ice can kill": replace(mild, refuge=replace(mild.refuge, ice=ranged(0, 0, 9, "%"))),
        "too cold": replace(mild, coldest=story.coldest),
        "too sour": replace(mild, acid=(replace(ACID[0], outside=0.4),)),
        "food": replace(mild, eaten=EATEN),
        "damp": mild,
    }
    for word, one in told.items():
        assert word in background.why(one)
