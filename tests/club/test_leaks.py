"""Nothing private is in any byte of what is published: every byte is looked at, for the archive is not compressed."""

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.journal.examples import NOW
from underlid.club.publication import publication
from underlid.club.sharing import share
from underlid.club.telling import About
from underlid.quantity.amount import VagueAmount
from underlid.quantity.when import VagueTime
from underlid.records import (
    PHOTOS_SHOWN,
    PLACES_SHOWN,
    BeddingLayer,
    Bin,
    Claim,
    Feeding,
    Keeper,
    Note,
    Photo,
    Reading,
    SampleCount,
    Sighting,
)

KATHMANDU = ZoneInfo("Asia/Kathmandu")  # 5:45 ahead of UTC, as hardly any other place is
EVENING = datetime(2026, 1, 9, 20, 10, tzinfo=KATHMANDU)


@st.composite
def degrees(draw, number):
    """An angle that no other keeper has, whose last digits cannot come about by rounding."""
    return float(f"{draw(st.integers(-89, 89))}.{number}{draw(st.integers(1001, 9999))}7")


class Secrets:
    """Words that stand nowhere else, each handed out once."""

    def __init__(self):
        self.all = []

    def __call__(self, what):
        self.all.append(f"Zq{len(self.all)}{what}qZ")
        return self.all[-1]


def words_of(secret):
    amount = VagueAmount(2, 4, "degC", "between", secret("amount"), (secret("flag"),))
    return amount, VagueTime(EVENING, EVENING + timedelta(minutes=20), "about", secret("when"), (secret("whenflag"),))


def bin_of(name, secret):
    amount, when = words_of(secret)
    side = replace(amount, low=0.3, high=0.4, unit="m")
    layer = BeddingLayer(secret("layer"), 0, secret("material"), side, replace(amount, unit="%"), secret("laid"))
    return Bin(
        id=secret("bin"), name=name, started=when, timezone="Asia/Kathmandu", length=side, width=side, height=side,
        siting="indoors", base="slab", wall=secret("wall"), wall_thickness=side, founders=replace(amount, unit="1"),
        species=secret("species"), layers=(layer,), words=secret("size"), noted_at=NOW,
    )  # fmt: skip


def entries_of(bin, keeper, secret):
    """One entry of each kind, full of words; and the SHA-256 of its photo."""
    amount, when = words_of(secret)
    count = replace(amount, unit="1")
    about = {"bin": bin, "when": when, "noted_at": NOW}
    sha256 = secret("sha256")
    return (
        Reading(
            id=secret("id"), words=secret("words"), quantity="temperature", amount=amount, depth=amount,
            instrument=f"thermometer of {keeper}", **about,
        ),
        SampleCount(id=secret("id"), words=secret("words"), volume=amount, counts=(("adult", count),), **about),
        Sighting(id=secret("id"), words=secret("words"), amount=count, **about),
        Feeding(id=secret("id"), words=secret("words"), material=secret("material"), amount=amount, **about),
        Note(id=secret("id"), words=secret("note"), **about),
        Claim(id=secret("id"), words=secret("words"), sentence=secret("sentence"), **about),
        Photo(id=secret("id"), words=secret("words"), file=f"{secret('file')}.jpg", sha256=sha256, **about),
    ), sha256  # fmt: skip


@st.composite
def clubs(draw):
    """A journal of a few keepers, what in it may be told only if somebody says so, and the secrets of it."""
    secret, bins, entries, keepers, whose, marks = Secrets(), [], [], {}, {}, {}
    open_words: list[str] = []
    for number in range(1, draw(st.integers(2, 4))):
        name, bin = secret("keeper"), secret("north")
        shown_as = draw(st.sampled_from(["", "the hill club"]))
        keeper = Keeper(
            id=secret("keeperid"), name=name, shown_as=shown_as, noted_at=NOW,
            latitude=draw(degrees(number)), longitude=draw(degrees(number)),
            place=draw(st.sampled_from(PLACES_SHOWN)), photos=draw(st.sampled_from(PHOTOS_SHOWN)),
        )  # fmt: skip
        exact = [f"{value:.6f}"[:-2] for value in (keeper.latitude, keeper.longitude)]
        (open_words if keeper.place == "as noted" else secret.all).extend(exact)
        noted, sha256 = entries_of(bin, name, secret)
        if draw(st.booleans()):
            marks[noted[-1].id] = draw(st.sampled_from(PHOTOS_SHOWN))
        if marks.get(noted[-1].id, keeper.photos) == "shared":
            secret.all.remove(sha256)
            open_words.append(sha256)
        bins.append(bin_of(bin, secret))
        entries += noted
        keepers[name], whose[bin] = keeper, name
    return (bins, entries, keepers, whose, marks), secret.all, open_words


def all_bytes(journal, **more):
    files = publication(share(*journal, **more), About())
    return b"\n".join([*files.values(), *(name.encode() for name in files)])


@settings(max_examples=60, deadline=None)
@given(club=clubs())
def test_nothing_private_is_in_any_byte_and_what_is_open_is(club):
    journal, secrets, open_words = club
    published = all_bytes(journal)
    assert [each for each in secrets if each.encode() in published] == []
    assert [each for each in open_words if each.encode() not in published] == []


@settings(max_examples=20, deadline=None)
@given(club=clubs())
def test_with_words_those_are_told_but_still_no_place_photo_or_id(club):
    journal, secrets, _ = club
    published = all_bytes(journal, words=True)
    found = {each.rstrip("qZ").lstrip("Zq0123456789") for each in secrets if each.encode() in published}
    assert found == {"words", "note", "when", "north", "keeper"}  # the name stands in the words for an instrument


@settings(max_examples=20, deadline=None)
@given(club=clubs())
def test_how_far_a_clock_is_from_utc_is_told_only_where_the_place_is(club):
    (bins, entries, keepers, whose, marks), _, _ = club
    quiet = {name: replace(each, place="not told") for name, each in keepers.items()}
    for told, offset in ((quiet, False), ({name: replace(k, place="1 degree") for name, k in keepers.items()}, True)):
        published = all_bytes((bins, entries, told, whose, marks))
        assert (b"05:45" in published) is offset
    assert b"Kathmandu" not in published


@settings(max_examples=20, deadline=None)
@given(club=clubs())
def test_of_what_others_noted_no_place_offset_or_photo_is_told_but_those_marked(club):
    journal, secrets, open_words = club
    _, entries, _, whose, marks = journal
    published = all_bytes(journal, taken_over=dict.fromkeys(whose, NOW + timedelta(days=1)))
    marked = {each.sha256 for each in entries if isinstance(each, Photo) and marks.get(each.id) == "shared"}
    assert {each for each in (*secrets, *open_words) if each.encode() in published} == marked
    assert b"05:45" not in published


def test_a_journal_without_keepers_tells_no_more():
    secret = Secrets()
    bin = secret("north")
    entries, _ = entries_of(bin, "nobody", secret)
    published = all_bytes(([bin_of(bin, secret)], entries, {}, {}, {}))
    assert [each for each in secret.all if each.encode() in published] == []
    assert b"thermometer of nobody" in published
