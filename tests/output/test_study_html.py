"""The page of a study: valid, alone, the same twice, and no name gets out of its place."""

import re
import sys
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from study_cases import ODD, many, odd_text, worked_out

from chargeplan.errors import InputError
from chargeplan.output.study_html import study_html
from chargeplan.output.study_pictures import life_pictures
from chargeplan.study.equipment import CAUTION

VOID = {"meta", "br", "img", "hr", "link", "input"}


class Page(HTMLParser):
    """Reads a page as browsers do, and keeps what stands where."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.ids, self.texts, self.wrong, self.links = [], [], [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        given = dict(attrs)
        if len(given) != len(attrs):
            self.wrong.append(f"an attribute of {tag} twice")
        if "id" in given:
            self.ids.append(given["id"])
        self.links += [value for key, value in attrs if key in ("src", "href", "xlink:href", "action", "srcset")]
        self.links += re.findall(r"url\((.*?)\)", " ".join(value or "" for _, value in attrs))
        self.wrong += [f"{key} of {tag}" for key, _ in attrs if key.startswith("on")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"</{tag}> closes nothing")

    def handle_data(self, data):
        self.texts.append((self.open[-1] if self.open else "", data))


@pytest.mark.parametrize(
    "report",
    [
        pytest.param(worked_out, id="short"),
        pytest.param(lambda: worked_out(odd_text()), id="odd names"),
        pytest.param(many, id="many"),
    ],
)
def test_it_is_valid_and_alone(report):
    """Tags close in order, ids are there once, links lead within the page, nothing is fetched or run."""
    text = study_html(report()[2])
    page = Page(text)
    assert (page.wrong, page.open) == ([], [])
    assert text.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert len(page.ids) == len(set(page.ids)) > 0
    for link in page.links:
        assert link.startswith("#")
        assert link[1:] in page.ids
    assert not {"script", "link", "iframe", "img", "object", "embed", "form", "base"} & set(page.tags)
    assert "http://" not in text.replace("http://www.w3.org/", "")
    assert "https://" not in text
    assert "@import" not in text
    assert page.tags.count("title") == 1
    assert page.tags.count("style") == 1, "no picture brings a style for the whole page"
    for name in ("viewport", "Content-Security-Policy", "@media print"):
        assert name in text


def test_names_stay_text():
    """Names with tags, entities and formulas come back letter by letter, and nothing of them is a tag."""
    text = study_html(worked_out(odd_text())[2])
    page = Page(text)
    said = [data.replace("\u00a0", " ") for _, data in page.texts]
    for name in ODD.values():
        assert any(name in data for data in said), name
    assert "script" not in page.tags
    assert {"b", "i"} & set(page.tags) == set()
    titles = [data for tag, data in page.texts if tag == "title"]
    assert titles[0].startswith("Weeks <i>&amp;</i> long"), "no picture has a title that a browser shows"
    drawn = [data for tag, data in page.texts if tag == "text"]
    assert any(data.startswith("$x_1$ & ") for data in drawn), "a name is no formula"
    for tag, data in page.texts:
        if "alert(1)" in data:
            assert tag in ("th", "p", "li", "figcaption", "h3", "text")


def test_it_says_what_the_text_says():
    _, _, report = worked_out()
    page = Page(study_html(report))
    said = [data.replace("\u00a0", " ") for _, data in page.texts]
    together = " ".join(said)
    for life in report.lives:
        for line in life.rates:
            assert f"{line.total:.2f}" in said
        for line in life.ways:
            assert f"{line.cost:.2f}" in said
        for one in life.equipment:
            for choice in one.choices:
                assert f"{choice.present_cost:.2f}" in said
    assert CAUTION[1:] in together
    assert "is the cheapest rate: it saves" in together
    assert page.tags.count("svg") == 4 * len(report.lives)
    assert page.tags.count("figcaption") == page.tags.count("svg")


def test_pictures_show_the_numbers():
    """Bars are as long as the numbers beside them, to the same scale."""
    _, _, report = worked_out()
    life = report.lives[1]
    drawn = life_pictures(report, life, "x")
    svg = drawn["ways"].svg
    texts = ["".join(node.itertext()).strip() for node in svg.iter("text")]
    for line in life.ways:
        assert line.way in texts
        assert f"{line.cost:.0f}" in texts
    widths = []
    for node in svg.iter("path"):
        numbers = [float(x) for x in re.findall(r"-?\d+\.?\d*", node.get("d", ""))]
        if "#0072b2" in (node.get("style") or ""):
            widths.append(max(numbers[0::2]) - min(numbers[0::2]))
    assert len(widths) == len(life.ways)
    scale = widths[0] / life.ways[0].cost
    assert widths == pytest.approx([line.cost * scale for line in life.ways], rel=1e-4)


def test_every_picture_stands_below_its_table():
    """Under a heading there is first a table, then perhaps a picture of it."""
    page = Page(study_html(worked_out()[2]))
    order = [tag for tag in page.tags if tag in ("h2", "h3", "table", "figure")]
    for before, tag in pairwise(order):
        assert tag != "figure" or before == "table", order
    assert order.count("figure") == 4 * len(worked_out()[2].lives)


def test_a_number_is_written_in_one_way():
    """No amount has a separator of thousands in one place and none in another."""
    amounts = re.findall(r"\d[\d,]*\.\d\d\b", re.sub(r"<svg.*?</svg>", "", study_html(many()[2]), flags=re.DOTALL))
    assert amounts
    assert not [text for text in amounts if "," in text]


def test_it_is_the_same_twice():
    _, _, report = worked_out()
    assert study_html(report) == study_html(report)


def test_without_matplotlib_it_has_no_pictures_and_says_so(monkeypatch):
    _, _, report = worked_out()
    monkeypatch.setattr("chargeplan.output.study_html.has_pictures", lambda: False)
    page = Page(study_html(report))
    assert "svg" not in page.tags
    assert any("pip install '.[plot]'" in data for _, data in page.texts)
    assert page.tags.count("table") > 4
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(InputError, match=r"drawing needs matplotlib; .* pip install '.\[plot\]'"):
        life_pictures(report, report.lives[0], "p")
