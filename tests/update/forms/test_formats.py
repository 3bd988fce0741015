"""Forms of the account: which are made, in what order, at once, and what is said of one that has nothing to show."""

import threading
from dataclasses import replace

import pytest

from tests.update.sample import sample
from underlid.update.forms import formats
from underlid.update.forms.formats import FORMATS, Format, NoSuchFormat, formats_from, render, stem
from underlid.update.lifefacts import Own
from underlid.update.story import tell

NAMES = ("html", "pdf", "poster", "cards", "overlays", "film", "notes", "data")


@pytest.fixture(scope="module")
def story():
    return tell(sample(), (2026, 1))


@pytest.fixture
def plain(monkeypatch):
    """Forms that make one small file each, but for one that makes none."""

    def making(name, share):
        return Format(name, "", lambda story: {f"{name}.txt": f"{name} of {stem(story)}".encode()}, share)

    made = {name: making(name, share) for name, share in (("one", 0.25), ("two", 0.5), ("three", 0.125))}
    made["none"] = Format("none", "", lambda story: {}, 0.125, "There is no such thing here.")
    monkeypatch.setattr(formats, "FORMATS", made)
    return made


# --- choosing ---------------------------------------------------------------------------------------------


def test_every_form_has_a_name_and_a_sentence():
    assert tuple(FORMATS) == NAMES
    for name, one in FORMATS.items():
        assert one.name == name
        assert 20 < len(one.says) < 90
        assert one.share > 0
    assert sum(one.share for one in FORMATS.values()) == pytest.approx(1)


@pytest.mark.parametrize(
    ("text", "names"),
    [("html", ("html",)), (" PDF , html,", ("html", "pdf")), ("all", NAMES), ("data,all", NAMES),
     ("film,film", ("film",))],
)  # fmt: skip
def test_forms_are_named_with_commas_in_any_order(text, names):
    assert formats_from(text) == names


@pytest.mark.parametrize("text", ["docx", "html,docx", "html pdf"])
def test_an_unknown_form_is_refused_with_those_that_exist(text, story):
    with pytest.raises(NoSuchFormat, match="html, pdf, poster, cards, overlays, film, notes, data, or all") as caught:
        formats_from(text)
    assert text.split(",")[-1] in str(caught.value)
    with pytest.raises(NoSuchFormat):
        render(story, text.split(","))


@pytest.mark.parametrize("text", ["", " , "])
def test_no_form_at_all_is_refused(text):
    with pytest.raises(NoSuchFormat, match="No form of the account was chosen"):
        formats_from(text)


# --- making -----------------------------------------------------------------------------------------------


def test_files_of_all_forms_in_the_order_of_the_forms(plain, story):
    made = render(story, ["three", "one"])
    assert list(made.files.items()) == [
        ("one.txt", b"one of Porch-tote-2026-01"), ("three.txt", b"three of Porch-tote-2026-01")
    ]  # fmt: skip
    assert made.notes == ()


def test_a_form_with_nothing_to_show_says_so(plain, story):
    made = render(story)
    assert list(made.files) == ["one.txt", "two.txt", "three.txt"]
    assert made.notes == ("There is no such thing here.",)


def test_progress_rises_to_the_whole_in_the_thread_that_asked(plain, story):
    told = []
    render(story, ["all"], lambda done: told.append((done, threading.current_thread())))
    shares = [done for done, _ in told]
    assert len(shares) == len(plain)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert {thread for _, thread in told} == {threading.current_thread()}


def test_two_forms_are_made_at_the_same_time(monkeypatch, story):
    meet = threading.Barrier(2, timeout=20)

    def make(story):
        meet.wait()  # comes back only if the other is at work too
        return {}

    monkeypatch.setattr(formats, "FORMATS", {name: Format(name, "", make, 0.5) for name in "ab"})
    assert render(story).files == {}


def test_what_goes_wrong_in_one_form_is_not_hidden(plain, monkeypatch, story):
    def broken(story):
        raise OSError("no more room")

    monkeypatch.setitem(plain, "two", Format("two", "", broken, 0.5))
    with pytest.raises(OSError, match="no more room"):
        render(story)
    assert render(story, ["one"]).files


def test_real_forms_made_together_are_those_made_alone(story):
    names = ["pdf", "overlays", "film", "data"]
    made = render(story, names)
    alone = {name: data for one in names for name, data in FORMATS[one].make(story).items()}
    assert made.files == alone
    assert list(made.files) == list(alone)
    assert made.files["Porch-tote-2026-01.pdf"].startswith(b"%PDF-")
    assert "data/datapackage.json" in made.files
    assert made.notes == ("There is no film: nothing is known of the bedding cut through in this month.",)


def test_signs_that_our_fonts_lack_are_named_where_they_matter(story):
    told = replace(story, own=Own(words=(("", ("Heute 蚯蚓 gezählt 🪱.",)),)))
    (note,) = render(told, ["overlays"]).notes
    assert all(sign in note for sign in "蚯蚓🪱")
    assert "ä" not in note
    assert render(told, ["data"]).notes == ()
    assert render(story, ["overlays"]).notes == ()


# --- names of files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bin", "safe"),
    [
        ("larch", "larch-2026-01"),
        ("Porch tote", "Porch-tote-2026-01"),
        ("../../etc/passwd", "etc-passwd-2026-01"),
        ('a\\b:c*d?e"f<g>h|i\n\0', "a-b-c-d-e-f-g-h-i-2026-01"),
        ("CON.", "CON-2026-01"),
        (".hidden", "hidden-2026-01"),
        ("--out", "out-2026-01"),
        ("…", "bin-2026-01"),
        ("Zoe\u0308s Würmer", "Zoës-Würmer-2026-01"),
        ("蚯蚓" * 50, "蚯蚓" * 13 + "-2026-01"),
    ],
)
def test_a_file_name_is_safe_whatever_the_bin_is_called(story, bin, safe):
    assert stem(replace(story, bin=replace(story.bin, name=bin))) == safe
