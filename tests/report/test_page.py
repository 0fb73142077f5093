import html
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from changed_rides import without_top_speed

from ridelog.analysis.ride import analyse, concluded
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.quantity import for_reader
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.present.palette import ROLES
from ridelog.present.section import Picture
from ridelog.report.ride_page import page_of, page_words, ride_page, ride_pictures

KMH = SPEED_UNITS["km/h"]


@pytest.fixture(scope="module")
def pictures(rough_motion: Motion, rough_result: MeasuredRide) -> tuple[Picture, ...]:
    return ride_pictures(rough_result, KMH)


@pytest.fixture(scope="module")
def page(rough_motion: Motion, rough_result: MeasuredRide, pictures: tuple[Picture, ...]) -> str:
    return ride_page(rough_result, pictures, KMH)


class Outline(HTMLParser):
    """Headings, identifiers, unclosed elements and addresses of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.headings: list[str] = []
        self.names: list[str] = []
        self.links: list[str] = []
        self.tags: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(tag)
        for name, value in attrs:
            if name == "id":
                self.names.append(value or "")
            if name in ("src", "href", "xlink:href", "action", "data"):
                self.links.append(value or "")
            assert not name.startswith("on"), f"{tag} has a handler {name}"


def test_the_page_stands_alone(page: str) -> None:
    outline = Outline()
    outline.feed(page)
    assert not outline.tags & {"script", "iframe", "object", "embed", "link", "img", "form"}
    assert all(link.startswith("#") for link in outline.links)
    assert "@import" not in page
    assert set(re.findall(r"https?://[^\"' )]+", page)) <= {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }


def test_headings_step_down_one_at_a_time_and_names_are_unique(page: str) -> None:
    outline = Outline()
    outline.feed(page)
    levels = [int(tag[1]) for tag in outline.headings]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(levels, levels[1:], strict=False))
    assert len(outline.names) == len(set(outline.names))
    used = re.findall(r"url\(#([^)]+)\)", page) + [link[1:] for link in outline.links]
    assert set(used) <= set(outline.names)


def test_the_page_says_what_it_must(page: str) -> None:
    text = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())
    for words in (
        "Top speed", "right 9 times out of 10", "Fastest second", "Best five seconds",
        "Highest reading", "Sources",
        "What was done to the data", "What was not measured", "battery charge", "closed, private",
        "Helmet, eye protection", "licensed", "local law",
        "SHA-256", "The receiver was still settling",
    ):  # fmt: skip
        assert words in text, words


def test_a_source_stands_in_one_list_and_its_number_at_the_caution(
    page: str, rough_result: MeasuredRide
) -> None:
    listed = dict(re.findall(r'<li id="source-(\d+)">(.*?)</li>', page))
    assert [int(number) for number in listed] == list(range(1, len(listed) + 1))
    assert len(set(listed.values())) == len(listed)
    for caution in rough_result.cautions:
        if caution.code != "weak_signal" and caution.source:
            (number,) = (k for k, words in listed.items() if html.unescape(words) == caution.source)
            words = html.escape(for_reader(caution.text, KMH), quote=False)
            marked = f'{words}<sup><a href="#source-{number}"'
            assert marked.replace("'", "&#39;") in page


def test_a_figure_that_is_too_rough_is_no_headline(rough_result: MeasuredRide) -> None:
    weak = replace(rough_result["signal"], grade="too weak")
    words = page_words(concluded(rough_result.with_record("signal", weak)), (), KMH)
    assert words["value"] == "" and " to " in words["bounds"]
    assert words["meaning"] == "The signal is too weak to name one figure."
    page = page_of(words)
    assert f"somewhere from {words['bounds']}" in page and '<p class="value">' not in page


def test_no_place_on_earth_unless_asked(
    page: str, rough_motion: Motion, rough_result: MeasuredRide, pictures: tuple[Picture, ...]
) -> None:
    latitude, longitude = rough_motion.origin_deg
    track = rough_motion.track
    given = [latitude, longitude, *track.latitude_deg[::50], *track.longitude_deg[::50]]
    for value in given:
        # Four decimals are eleven metres: closer than any address.
        assert f"{value:.6f}"[:7] not in page
    assert "This page holds no coordinates." in page
    asked = ride_page(rough_result, pictures, KMH, show_coordinates=True)
    assert f"{latitude:.6f}" in asked and f"{longitude:.6f}" in asked


def test_a_hostile_file_name_stays_text(
    rough_motion: Motion, rough_result: MeasuredRide, pictures: tuple[Picture, ...]
) -> None:
    name = "\"><script>alert(1)</script>{{ 7 * 7 }}'.gpx"
    source = replace(rough_result.source, file=name)
    motion = replace(rough_motion, history=(name,), warnings=(name,))
    result = replace(rough_result, source=source, motion=motion)
    page = ride_page(result, pictures, KMH)
    assert "<script" not in page
    assert "{{ 7 * 7 }}" in page
    assert page.count("&lt;script&gt;alert(1)") >= 4


def test_equal_rides_give_equal_bytes(
    page: str, rough_motion: Motion, rough_result: MeasuredRide
) -> None:
    again = ride_pictures(rough_result, KMH)
    assert ride_page(rough_result, again, KMH) == page


def test_pictures_carry_words_colours_and_nothing_else(pictures: tuple[Picture, ...]) -> None:
    assert [picture.name for picture in pictures] == ["speed", "path", "signal"]
    for picture in pictures:
        assert picture.png.startswith(b"\x89PNG")
        for svg in (picture.wide_svg, picture.narrow_svg):
            assert 'role="img"' in svg and len(picture.label) > 40
            assert "<metadata" not in svg and "<!--" not in svg and "matplotlib" not in svg
            bare = re.sub(r"var\(--[a-z0-9]+,#[0-9a-f]{6}\)", "", svg)
            assert not re.findall(r"#[0-9a-f]{6}\b", bare), "a colour that dark mode would miss"


def test_the_roles_of_colour_are_distinct() -> None:
    for shade in ("light", "dark"):
        colours = [getattr(role, shade) for role in ROLES]
        assert len(colours) == len(set(colours))


def luminance(colour: str) -> float:
    """Relative luminance: WCAG 2.2, definition."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio: WCAG 2.2, definition."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("shade", ["light", "dark"])
def test_contrast_as_wcag_asks(shade: str) -> None:
    # WCAG 2.2, 1.4.3: text 4.5; 1.4.11: graphics 3. Black on white is 21 by definition.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    colour = {role.name: getattr(role, shade) for role in ROLES}
    for name in ("ink", "quiet"):
        assert contrast(colour[name], colour["paper"]) >= 4.5
        assert contrast(colour["ink"], colour["shade"]) >= 4.5
    for name in ("line", "mark", "hatch", *(n for n in colour if n.startswith("speed"))):
        assert contrast(colour[name], colour["paper"]) >= 3.0, name


def test_speeds_get_lighter_or_darker_step_by_step() -> None:
    """In grey print the order of speeds must survive."""
    for shade in ("light", "dark"):
        steps = [luminance(getattr(r, shade)) for r in ROLES if r.name.startswith("speed")]
        assert steps == sorted(steps)


def test_a_ride_without_figures_still_has_a_page(slow_motion: Motion) -> None:
    result = without_top_speed(analyse(slow_motion), "nothing was clear")
    page = ride_page(result, ride_pictures(result, KMH), KMH)
    assert "No top speed can be given: nothing was clear." in page
    assert "no top speed" in page


def test_the_page_from_stored_words_is_the_same_page(
    page: str, rough_motion: Motion, rough_result: MeasuredRide, pictures: tuple[Picture, ...]
) -> None:
    words = page_words(rough_result, pictures, KMH)
    assert page_of(json.loads(json.dumps(words, allow_nan=False))) == page
