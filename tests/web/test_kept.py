import os
from datetime import UTC, datetime, timedelta

import pytest

from underlid.web.kept import FRESH, Age, age_of, ago, form, keep, kept, stamps

NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)


def view(**changes):
    return {"made_at": NOW.isoformat(), "form": form(), "entries": 3, "weather": {"stamps": []}, **changes}


def read(folder, name):
    found = kept(folder, name)
    assert found is not None
    return found


def test_what_is_kept_is_read_again(tmp_path):
    keep(tmp_path, "north", view(says="°C"))
    assert kept(tmp_path, "north") == view(says="°C")
    assert (tmp_path / "views" / "north.json").is_file()
    keep(tmp_path, "north", view(says="anew, and longer"))
    assert read(tmp_path, "north")["says"] == "anew, and longer"


@pytest.mark.parametrize("name", ["../out", "a/b", "..", ".", "é" * 150, "b" * 190, "a b"])
def test_no_name_of_a_bin_leaves_the_folder(tmp_path, name):
    keep(tmp_path / "journal", name, view())
    assert kept(tmp_path / "journal", name) == view()
    assert [path.parent for path in tmp_path.rglob("*.json")] == [tmp_path / "journal" / "views"]


def test_long_names_that_begin_alike_are_kept_apart(tmp_path):
    keep(tmp_path, "a" * 199 + "b", view(entries=1))
    keep(tmp_path, "a" * 199 + "c", view(entries=2))
    assert read(tmp_path, "a" * 199 + "b")["entries"] == 1


@pytest.mark.parametrize("damage", [b"", b"{", b"[]", b"\xff\xfe", b'{"form": "older"}'])
def test_a_damaged_view_or_one_of_another_form_is_none(tmp_path, damage):
    keep(tmp_path, "north", view())
    (tmp_path / "views" / "north.json").write_bytes(damage)
    assert kept(tmp_path, "north") is None
    assert kept(tmp_path, "south") is None


@pytest.mark.parametrize(
    ("old", "said"),
    [
        (timedelta(seconds=20), "just now"), (timedelta(minutes=1), "1 minute ago"),
        (timedelta(minutes=59), "59 minutes ago"), (timedelta(hours=3, minutes=50), "3 hours ago"),
        (timedelta(days=1, hours=2), "1 day ago"), (timedelta(days=40), "40 days ago"),
    ],
)  # fmt: skip
def test_age_in_words(old, said):
    assert ago(old) == said


def test_a_view_says_how_old_it_is_and_what_it_does_not_know():
    age = age_of(view(), 5, [], NOW + timedelta(hours=3))
    assert age.sentence == "Made 3 hours ago, before 2 newer entries."
    assert age.stale
    assert age_of(view(), 4, [], NOW).sentence == "Made just now, before 1 newer entry."


def test_a_view_of_more_than_the_journal_holds_is_stale():
    age = age_of(view(), 2, [], NOW)  # a backup was put in place
    assert age.stale
    assert age.sentence == "Made just now, before a journal with fewer entries was put in place."


def test_a_view_is_fresh_until_something_changes(tmp_path):
    weather = tmp_path / "air.csv"
    weather.write_text("time,temp_c\n")
    made = view(weather={"stamps": stamps([weather])})
    assert not age_of(made, 3, [weather], NOW + FRESH).stale
    assert age_of(made, 3, [weather], NOW + FRESH + timedelta(seconds=1)).stale
    os.utime(weather, ns=(1, 1))
    changed = age_of(made, 3, [weather], NOW)
    assert changed.stale
    assert changed.sentence == "Made just now, before the weather given now."
    assert age_of(made, 3, [], NOW).no_weather


def test_a_clock_that_was_set_back_makes_no_view_younger_than_now():
    assert age_of(view(), 3, [], NOW - timedelta(days=1)) == Age(NOW, timedelta(), 0, False)


def test_where_no_weather_is_given_any_more_a_view_that_has_it_stays(tmp_path):
    file = tmp_path / "winter.csv"
    file.write_text("time,temp_c")
    fuller = view() | {"weather": {"source": "winter.csv", "stamps": stamps([file])}}
    age = age_of(fuller, 5, [], NOW + timedelta(days=2))
    assert not age.stale
    assert age.no_weather
    assert age.sentence.startswith("Made 2 days ago, before 2 newer entries. Nothing newer can be worked out: ")
    assert age_of(fuller, 5, [file], NOW + timedelta(days=2)).stale
