from __future__ import annotations

import json
import os
import re
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import html5lib
import numpy as np
import pytest
from markupsafe import Markup

from tests.update import filmed, living
from tests.update.sample import END, ENTRIES, NOW, READINGS, ZONE, sample, truth
from underlid.records import Note
from underlid.update.drawn import charts, palette
from underlid.update.drawn.crosscut import Crosscut
from underlid.update.facts import Array, Range, Story
from underlid.update.forms import heads, live, webpage
from underlid.update.forms import page as pages
from underlid.update.forms.page import page
from underlid.update.lifefacts import Own
from underlid.update.own import contrast
from underlid.update.prose import phrases, telling, words
from underlid.update.story import tell

VOID = {"meta", "br", "hr", "img", "input", "link", "path", "rect", "circle"}
NASTY = "</style></script><script>alert(1)</script>"


def without_fonts(html: str) -> str:
    """Fonts within a page hold any letters; what they are is tested here."""
    kept = re.sub(r"url\(data:font/woff2;base64,[A-Za-z0-9+/=]+\)", "", html)
    assert len(kept) < len(html)
    return kept


class Outline(HTMLParser):
    """Open tags balanced, every attribute seen, every heading and text kept."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.headings: list[tuple[str, str]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "script"):
            self.text += data
            if self.open[-1] in ("h1", "h2", "h3"):
                self.headings.append((self.open[-1], data))

    def values(self, name: str, tag: str | None = None) -> list[str]:
        """Every value of an attribute."""
        return [value for of, found, value in self.attributes if found == name and tag in (None, of)]


@pytest.fixture(scope="module")
def story() -> Story:
    return living.story(truth=tell(sample(), (2026, 1), truth=truth(sample())).truth, cut=filmed.coarse_cut())


@pytest.fixture(scope="module")
def html(story: Story) -> str:
    return page(story)


@pytest.fixture(scope="module")
def outline(html: str) -> Outline:
    return Outline(html)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page whose charts are empty, where only its text matters: they have tests of their own."""
    empty = Markup(
        '<svg viewBox="0 0 9 9" role="img" aria-label="a"><g transform="translate(1,1)"><path d="M0,0h7v7h-7Z"/></g>'
        "</svg>"
    )
    monkeypatch.setattr(pages, "both_widths", lambda chart, name, says: webpage.Drawn(empty, empty))


def ranged(values: Array, unit: str) -> Range:
    low, middle, high = (float(value) for value in values)
    return Range(low, middle, high, unit, "estimated")


def data_of(html: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="told">(.*?)</script>', html, re.DOTALL)
    assert found is not None
    told: dict[str, Any] = json.loads(found[1])
    return told


def test_the_page_needs_nothing_from_outside(html: str, outline: Outline) -> None:
    assert "://" not in html
    assert "@import" not in html
    tags = {tag for tag, _, _ in outline.attributes}
    assert not tags & {"link", "iframe", "object", "form"}
    for _, name, value in outline.attributes:
        assert name not in ("srcset", "data", "action")
        assert not name.startswith("on")
        if name in ("href", "xlink:href"):
            assert value.startswith("#")
        if name == "src":
            assert value.startswith("data:image/jpeg;base64,")
    assert all(found.startswith(("#", "data:font/woff2;")) for found in re.findall(r"url\(([^)]*)", html))
    assert not re.search(r"\b(fetch|XMLHttpRequest|eval|innerHTML|localStorage|import)\b", webpage.text_of("page.js"))


def test_the_pages_policy_lets_nothing_in(outline: Outline) -> None:
    (policy,) = (value for value in outline.values("content", "meta") if "-src" in value)
    assert policy == (
        "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; font-src data:"
    )


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", living.STORIES)
def test_every_page_is_sound_html_and_every_link_has_its_target(name: str) -> None:
    told = living.STORIES[name]()
    html = page(told)
    html5lib.HTMLParser(strict=True).parse(html)
    outline = Outline(html)
    assert outline.open == []
    ids = outline.values("id")
    assert len(ids) == len(set(ids))
    assert all(" " not in one for one in ids)
    targets = {f"#{one}" for one in ids}
    assert {"#weather", "#fit", "#counts", "#feedings", "#species", "#readings", "#plain", "#full"} <= targets
    assert set(outline.values("href")) <= targets
    for section in telling.sections(told):
        for said in section.said:
            assert said.full in outline.text
    for sentence in telling.short(told):
        assert sentence in outline.text


@pytest.mark.usefixtures("quick")
def test_evidence_is_linked_by_its_name() -> None:
    told = living.story()
    outline = Outline(page(told))
    ids = set(outline.values("id"))
    assert {pages.anchor(f"reading-{fact.id}") for fact in told.readings} <= ids
    assert {pages.anchor(f"trial-{one.name}") for one in told.trials} <= ids
    named = {name for section in telling.sections(told) for said in section.said for name in said.evidence}
    assert {f"#{pages.anchor(name)}" for name in named if name.startswith("trial-")} <= set(outline.values("href"))


def test_no_two_pieces_of_evidence_share_an_anchor() -> None:
    names = ["trial-a b", "trial-a-b", "trial-a.20.b", "trial-ä", "trial-a_b"]
    assert len({pages.anchor(name) for name in names}) == len(names)


def test_every_chart_is_labelled_at_both_sizes(outline: Outline) -> None:
    labels = outline.values("aria-label", "svg")
    assert len(labels) == 9  # four charts twice, and the cut
    assert len(set(labels)) == 5


def test_the_sections_stand_in_order(outline: Outline) -> None:
    assert [text for tag, text in outline.headings if tag in ("h1", "h2")] == [
        "The porch winter", "In pictures", "The month in three sentences", "What was done and eaten",
        "Air, bedding and refuge", "The animals", "Water and acid", "Under test", "What did not fit",
        "What is not known", "What comes next", "Take care", "In plain words", "What was noted",
        "What the fit learned", "The bin", "Sources",
    ]  # fmt: skip


def test_words_of_the_keeper_stand_in_their_section_and_stay_words(html: str, story: Story) -> None:
    assert "&lt;grounds&gt;" in html
    for name, paragraphs in story.own.words:
        start = html.index(f'<section id="{name}">') if name else html.index("<header>")
        end = html.index("</section>", start)
        quoted = re.search(r'<figure class="own">.*?</figure>', html[start:end], re.DOTALL)
        assert quoted is not None
        for text in paragraphs:
            assert str(Markup.escape(text)) in quoted[0]


@pytest.mark.usefixtures("quick")
def test_nothing_a_keeper_writes_becomes_markup() -> None:
    note = Note(id="n", bin="Porch tote", when=READINGS[1].when, words=NASTY)
    pictures = tuple(replace(one, caption=NASTY) for one in living.own().pictures)
    own = Own(title=NASTY, keeper=NASTY, words=(("", (NASTY,)), ("care", (NASTY,))), pictures=pictures)
    html = page(tell(sample((note, replace(READINGS[1], words=NASTY))), (2026, 1), own=own))
    assert html.count("<script") == 2  # the page's numbers and the page's script
    assert html.count("</script>") == 2
    assert html.count("</style>") == 1
    assert Outline(html).text.count(NASTY) >= 8


def test_photos_come_with_the_page(outline: Outline, story: Story) -> None:
    pictures = story.own.pictures
    assert outline.values("width", "img") == [str(one.width) for one in pictures]
    assert outline.values("height", "img") == [str(one.height) for one in pictures]
    assert all(outline.values("alt", "img"))
    for one in pictures:
        assert one.caption in outline.text


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("accent", ["#ffff00", "#000000", "#ffffff", "#24485c"])
def test_any_accent_can_be_read_by_day_and_by_night(accent: str) -> None:
    html = page(living.story(own=Own(accent=accent)))
    day, night = (re.findall(rf"--{name}: (#\w+); ", html)[-1] for name in ("deep", "deep-at-night"))
    for paper in ("#ffffff", "#fbfaf7", "#f3efe6"):
        assert contrast(day, paper) >= 4.5
    for paper in ("#171a1d", "#1d2125", "#23282d"):
        assert contrast(night, paper) >= 4.5


def test_the_same_story_gives_the_same_bytes(html: str, story: Story) -> None:
    assert page(story) == html


def test_the_page_is_small(html: str, story: Story) -> None:
    photos = sum(4 * len(one.jpeg) // 3 for one in story.own.pictures)
    assert len(html.encode()) - photos < 1_000_000


def test_an_invented_truth_is_shown_as_one(outline: Outline, story: Story) -> None:
    assert "invented data" in outline.text
    for sentence in words.truth(story):
        assert sentence in outline.text


@pytest.mark.usefixtures("quick")
def test_a_bare_journal_still_makes_a_page() -> None:
    text = Outline(page(tell(sample(()), (2026, 1)))).text
    assert "No readings were noted this month, nor in any month before it." in text
    assert "No feeding was noted." in text
    assert "No animals were counted or noted as seen this month." in text
    assert "without readings the ranges stay as they were" in text
    assert "invented truth" not in text
    assert "The bedding cut through" not in text


@pytest.mark.usefixtures("quick")
def test_a_month_without_readings_says_so_for_that_month_alone() -> None:
    text = Outline(page(tell(sample(READINGS[:1]), (2026, 1)))).text
    assert "No readings were noted this month." in text


@pytest.mark.usefixtures("quick")
def test_an_outlook_that_ends_early_leaves_its_chart_out() -> None:
    outline = Outline(page(tell(sample(end=datetime(2026, 1, 28, 12, tzinfo=ZONE), members=0), (2026, 1))))
    assert "lowest hour of each day" not in outline.text
    assert "The account ends on 28 January 2026, before the month does." in outline.text
    none = Outline(page(tell(sample(end=NOW, members=0), (2026, 1)))).text
    assert "Nothing is predicted" in none


def test_the_lede_tells_the_keeper_and_the_bin(outline: Outline) -> None:
    assert "Kept by M. Example. About 42 litres of bedding in an open shelter, Eisenia fetida" in outline.text
    assert "three dozen or more" in outline.text


def test_the_lede_says_that_figures_are_in_doubt(story: Story) -> None:
    doubted, unsettled = replace(story, misfit=True), replace(story, misfit=False, trusted=False)
    assert "do not fit together: read every range here with doubt" in heads.lede(doubted)
    assert "The fit has not settled: read every range here with doubt" in heads.lede(unsettled)
    assert "doubt" not in heads.lede(replace(story, misfit=False, trusted=True))


def test_entries_carry_their_words(outline: Outline) -> None:
    for entry in ENTRIES:
        if entry.when.start >= datetime(2026, 1, 1, tzinfo=ZONE):
            assert entry.words in outline.text


# --- what the script reads ---------------------------------------------------------------------------------


def test_the_numbers_to_read_off_are_those_of_the_phrases(html: str, story: Story) -> None:
    told, hours = data_of(html)["hours"], story.hours
    assert told["count"] == len(hours.time_utc)
    assert told["predicted"] == hours.predicted_from
    for i in range(0, told["count"], 37):
        low, middle, high = (value / 2 for value in told["middle"][3 * i : 3 * i + 3])
        found = ranged(hours.middle_c[i], "degC")
        assert phrases.celsius(found) == f"{phrases.number(middle)}{phrases.NB}°C"
        assert phrases.temperature_ends(found)[0] == phrases.ends(low, high, "°C")
        litres = ranged(hours.refuge_pct[i] * story.refuge.bedding_litres / 100, "L")
        low, middle, high = (value / 2 for value in told["litres"][3 * i : 3 * i + 3])
        assert phrases.litres(litres) == f"{phrases.number(middle)}{phrases.NB}litres"
        assert phrases.litres_range(litres) == phrases.ends(low, high, "litres")


def test_observed_air_has_one_value(html: str, story: Story) -> None:
    told = data_of(html)["hours"]
    first = np.array(told["air"]).reshape(-1, 3)[: story.hours.predicted_from]
    assert (first[:, 0] == first[:, 2]).all()
    assert (np.array(told["air"]).reshape(-1, 3)[-24:, 0] < np.array(told["air"]).reshape(-1, 3)[-24:, 2]).any()


def test_a_year_of_hours_is_thinned(story: Story) -> None:
    hours = story.hours
    n = 8760
    time_utc = hours.time_utc[0] + 3600 * np.arange(n, dtype=np.int64)
    wide = {name: np.resize(getattr(hours, name), (n, 3)) for name in ("air_c", "middle_c", "refuge_pct", "ice_pct")}
    long = replace(story, hours=replace(hours, time_utc=time_utc, truth_c=None, predicted_from=8000, **wide))
    text = live.as_json(long, None)
    told = json.loads(text)["hours"]
    assert told["count"] <= live.MOST_HOURS
    assert len(told["middle"]) == 3 * told["count"]
    at = _times(told)
    zone = ZoneInfo(story.timezone)
    local = [charts.as_utc_ms(datetime.fromtimestamp(int(second), zone)) for second in time_utc]
    assert set(at) <= set(local)  # also where clocks are put forward and back
    assert at == sorted(set(at))
    assert at[told["predicted"]] >= local[8000] > at[told["predicted"] - 1]
    assert len(text) < 200_000


def _times(series: dict[str, Any]) -> list[int]:
    """As the script has it."""
    extra = dict(series["jumps"])
    at, now = [], 0
    for i in range(series["count"]):
        now = extra.get(i, now)
        at.append(series["first"] + i * series["step"] + now)
    return at


def test_the_animals_can_be_read_off_day_by_day(html: str, story: Story) -> None:
    told = data_of(html)["days"]
    assert story.animals is not None
    daily = story.animals.daily
    assert told["predicted"] == daily.predicted_from
    assert told["worms"][:3] == [int(value) for value in daily.worms[0]]
    assert told["adults"][-3:] == [int(value) for value in daily.adults[-1]]
    first = datetime.fromtimestamp(told["first"] / 1000, UTC).replace(tzinfo=None)
    assert first == datetime.fromtimestamp(int(daily.time_utc[0]), ZoneInfo(story.timezone)).replace(tzinfo=None)


# --- the cut -----------------------------------------------------------------------------------------------


def test_the_cut_stands_still_at_the_coldest_hour(html: str, story: Story) -> None:
    assert story.cut is not None
    cut = Crosscut(story, story.cut)
    told = data_of(html)["cut"]
    cells = cut.cells()
    assert len(cells) == len(story.cut.depth_m) * len(story.cut.wall_m)
    each = 1 + max(cell.index for cell in cells)
    for cell in cells:
        at = 3 * (told["start"] * each + cell.index) + 1
        assert cell.text == phrases.number(told["cells"][at] / 2)  # the script begins with what stands there
        low, middle, high = story.cut.bedding_c[cut.month.row[cut.coldest], cell.row, cell.column]
        assert abs(float(cell.text.replace("−", "-")) - middle) <= (0.5 if high - low > phrases.WIDE_K else 0.25)
        assert cell.frost == (float(cell.text.replace("−", "-")) < 0)
    assert html.count("<text x=") == len(cells)
    assert cut.says() in Outline(html).text
    assert palette.FREEZING in Outline(html).text


def test_the_legend_has_both_units_and_every_shade_of_the_month(story: Story) -> None:
    assert story.cut is not None
    cut = Crosscut(story, story.cut)
    legend = cut.legend()
    assert all("°C" in says and "°F" in says for _, says in legend)
    assert {cell.fill for cell in cut.cells()} <= {colour for colour, _ in legend}


def test_the_script_is_told_the_shades_of_the_drawing(html: str) -> None:
    told = data_of(html)["cut"]
    assert told["edges"] == list(palette.EDGES_C)
    assert told["shades"] == list(palette.SHADES)
    assert told["inks"] == [palette.ink_on(shade) for shade in range(len(palette.SHADES))]


# --- outside opinion ---------------------------------------------------------------------------------------


@pytest.mark.skipif(
    "UNDERLID_VNU" not in os.environ, reason="UNDERLID_VNU does not name the jar of the Nu Html Checker"
)
def test_the_nu_html_checker_finds_nothing(html: str, tmp_path: Path) -> None:
    long = tell(sample(READINGS, end=END.replace(month=12)), (2026, 1))
    for name, text in (("full", html), ("bare", page(tell(sample(()), (2026, 1)))), ("long", page(long))):
        (tmp_path / f"{name}.html").write_text(text, "utf-8")
    # The checker takes every picture that is held in a page to be against any policy; browsers do not.
    command = ["java", "-jar", os.environ["UNDERLID_VNU"], "--stdout", "--filterpattern", ".*blocked by .img-src.*"]
    done = subprocess.run([*command, *map(str, tmp_path.iterdir())], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
