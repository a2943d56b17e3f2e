"""The picture of a sheet as text and as a drawing: read back, it gives the prices of the day."""

import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.output.picture_text import notes, picture_text, price_texts
from chargeplan.output.plot import plot_picture, save_figure
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.picture import picture

HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\n"
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
DAYS = {
    "weekdays": "01234",
    "weekends": "56",
    "every day": "0123456",
    "Mon-Thu": "0123",
    "Fri": "4",
    "Sat": "5",
    "Sun": "6",
}


def read_back(text):
    """{(days, label): signs} and {sign: (price, period)}, as a person reads the picture."""
    rows, legend, days = {}, {}, ""
    for line in text.split("\n")[2:]:
        row = re.fullmatch(r"(\w{3}[ \d,()-]*?) +([1-9a-z*]{48})", line)
        step = re.fullmatch(r"([1-9a-z])  +(-?\d+\.\d+)  (.+)", line)
        if row and len(line) == 59:
            rows[days, row[1]] = row[2]
        elif step:
            legend[step[1]] = (float(step[2]), step[3])
        elif line and not line.startswith(" "):
            days = line.partition(" 00 ")[0].rstrip()
    return rows, legend


def assert_fits(text):
    assert all(len(line) <= 80 and line.isprintable() and line == line.rstrip() for line in text.split("\n"))


@pytest.mark.parametrize("name", shipped_sheets())
def test_read_back(name):
    """On the 10th of each month and the six days after it, every half hour has the price of the legend's sign."""
    tariff = load_tariff(name)
    shown = picture(tariff, 2026)
    text = picture_text(shown)
    assert_fits(text)
    assert text.isascii()
    rows, legend = read_back(text)
    seen = set()
    for month in range(1, 13):
        for day in (date(2026, month, 10) + timedelta(days=n) for n in range(7)):
            if tariff.is_holiday(day):
                continue
            found = [
                signs
                for (days, label), signs in rows.items()
                if label == MONTHS[month - 1] and str(day.weekday()) in DAYS[days.removesuffix(" and holidays")]
            ]
            assert len(found) == 1
            start_s = tariff.day(day)[0].start_s
            for run in tariff.day(day):
                for half in range((run.start_s - start_s) // 1800, (run.end_s - start_s) // 1800):
                    price, period = legend[found[0][half]]
                    assert (price, period) == (pytest.approx(run.price_per_kwh, abs=5.1e-6), run.period)
                    seen.add(found[0][half])
    assert seen == set(legend)


def test_half_hours_and_what_is_finer():
    """16:30 is shown where it is; a change at 16:45 or 19:01 is a mark, with the time under the picture."""
    text = HEAD + "periods: {{peak: '{hours}', other: rest}}\nprices: {{peak: 0.4, other: 0.2}}"
    half = picture_text(picture(read_tariff(text.format(hours="16:30-21:00")), 2026))
    assert "Jan        " + "1" * 33 + "2" * 9 + "1" * 6 in half.split("\n")
    assert "*" not in half
    fine = picture_text(picture(read_tariff(text.format(hours="16:45-19:01")), 2026))
    assert "Jan        " + "1" * 33 + "*" + "2" * 4 + "*" + "1" * 9 in fine.split("\n")
    assert "*  more than one price in this half hour; it changes at 16:45, 19:01" in fine.split("\n")


def test_the_ruler_stands_above_the_hours():
    """Each tick is over the half hour that begins then."""
    lines = picture_text(picture(load_tariff("two-period"), 2026)).split("\n")
    hours = {hour: lines[3].index(f"{hour:02d}", 11) for hour in range(0, 25, 3)}
    assert all(lines[4][column] == "|" for column in hours.values())
    assert {hour: (column - 11) / 2 for hour, column in hours.items()} == {hour: hour for hour in hours}


def test_months_that_change_and_what_is_said_below():
    """A month with a change inside has a row for each part, and a sentence says so."""
    text = HEAD + (
        "effective: 2026-03-10\nholidays: [Jul 3]\nseasons: {summer: May 16 - Oct 15, winter: rest}\n"
        "periods: {peak: 16:00-21:00 on weekdays except holidays, other: rest}\n"
        "prices: {summer: {peak: 0.4, other: 0.2}, winter: 0.1}\n"
    )
    said = picture_text(picture(read_tariff(text), 2026))
    assert_fits(said)
    rows, _ = read_back(said)
    weekdays = [label for days, label in rows if days == "weekdays"]
    assert weekdays == [
        *["Mar 10-31", "Apr", "May 1-15", "May 16-31", "Jun", "Jul", "Aug", "Sep"],
        *["Oct 1-15", "Oct 16-31", "Nov", "Dec"],
    ]
    assert "The sheet begins on 2026-03-10; other days are not shown." in said
    assert "A month in several rows changes on the date that its rows give." in said
    assert "Holidays in 2026: Jul 3." in said
    assert notes(picture(load_tariff("two-period"), 2026)) == []


def test_single_days_are_listed():
    """Nights that begin on holidays make days of their own; days of a month that are alike share a row."""
    text = HEAD + (
        "holidays: [2026-07-14, 2026-07-21, 2026-07-23]\nperiods: {night: 22:00-06:00 starting holidays, day: rest}\n"
        "prices: {night: 0.1, day: 0.3}\n"
    )
    said = picture_text(picture(read_tariff(text), 2026))
    rows, _ = read_back(said)
    assert [label for days, label in rows if days == "holidays"] == ["Jul (3)"]
    assert [label for days, label in rows if days == "other days"] == ["Jul (3)"]
    assert "Holidays in 2026: Jul 14, 21, 23." in said
    assert "Other days, unlike the rest of their week: Jul 15, 22, 24." in said


def test_what_prices_by_the_hour_do_not_tell():
    """Tiers, a clock of the meter's own and called days each have their sentence, as has a version with them."""
    text = HEAD + (
        "clock: standard\ncalled: {critical: {days: [2026-07-15], unknown: not called}}\n"
        "periods: {critical: 16:00-20:00 on critical days, other: rest}\nprices: {critical: 0.9, other: 0.2}\n"
        "versions: [{from: 2026-10-01, prices: {critical: 0.9 up to 600 then 1, other: 0.2 up to 600 then 0.3}}]\n"
    )
    said = " ".join(picture_text(picture(read_tariff(text), 2026)).split())
    assert "Prices are those of the first kWh of a bill; the price of more use follows the tiers of the sheet." in said
    assert "The sheet has a clock of its own, so its hours move when the wall clock changes." in said
    assert "Days that are called (critical) are shown as far as the sheet lists them." in said
    assert "Other days, unlike the rest of their week: Jul 15." in said
    # In July Denver's wall clock is an hour ahead of standard time: 16:00-20:00 is 17:00-21:00.
    rows, _ = read_back(picture_text(picture(read_tariff(text), 2026)))
    assert rows["other days", "Jul 15"] == "1" * 34 + "2" * 8 + "1" * 6


def test_means_where_there_are_many_prices():
    """The legend then has bands, and a sentence says what is shown."""
    hours = ", ".join(f"h{n}: '{n:02d}:00-{n + 1:02d}:00'" for n in range(24))
    first, second = (", ".join(f"h{n}: {base + n / 100}" for n in range(24)) for base in (0.1, 0.5))
    text = HEAD + f"periods: {{{hours}}}\nprices: {{{first}}}\nversions: [{{from: 2026-07-16, prices: {{{second}}}}}]"
    said = picture_text(picture(read_tariff(text), 2026))
    assert_fits(said)
    assert "1  0.1000 to 0.1700" in said
    sentence = "There are more prices than signs: each row shows the mean of its month, in bands of equal width."
    assert sentence in " ".join(said.split())


@settings(max_examples=30, deadline=None, database=None)
@given(
    name=st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=200),
    period=st.text("abcdefgh $_^-", min_size=1, max_size=60).filter(lambda name: name.split()),
    price=st.floats(-99999, 99999),
)
def test_long_names_and_large_prices(name, period, price):
    """Names of any length and prices of five digits stay in 80 columns."""
    import yaml

    data = {"name": name, "currency": "JPY", "timezone": "Asia/Tokyo"}
    data |= {
        "periods": {period.strip(): "16:00-21:00", "other one": "rest"},
        "prices": {period.strip(): price, "other one": 1},
    }
    assert_fits(picture_text(picture(read_tariff(yaml.safe_dump(data, width=9999)), 2026)))


def test_digits_of_prices():
    """As many as the prices need, alike in one legend, at most five; no minus before nothing."""
    assert price_texts([0.1, 0.25]) == ["0.1000", "0.2500"]
    assert price_texts([0.1, 0.12345]) == ["0.10000", "0.12345"]
    assert price_texts([-1e-9]) == ["0.0000"]
    assert price_texts([]) == []


# ------------------------------------------------------------------------------------------------ drawings


@pytest.mark.parametrize("name", shipped_sheets())
def test_a_drawing_shows_what_the_text_shows(name):
    """One chart for each panel, one row for each of its rows; the bars of a row fill 24 hours in the right colours."""
    shown = picture(load_tariff(name), 2026)
    figure = plot_picture(shown)
    assert [axes.get_title(loc="left") for axes in figure.axes] == [panel.days for panel in shown.panels]
    colour = {}
    for axes, panel in zip(figure.axes, shown.panels, strict=True):
        assert len(axes.get_yticklabels()) == len(panel.rows)
        for number, row in enumerate(panel.rows):
            bars = sorted(
                (patch.get_x(), patch.get_width(), patch.get_facecolor())
                for patch in axes.patches
                if round(patch.get_y() + 0.5) == number
            )
            assert sum(width for _, width, _ in bars) == pytest.approx(24)
            for start, width, shade in bars:
                steps = set(row.code[round(start * len(row.code) / 24) : round((start + width) * len(row.code) / 24)])
                assert len(steps) == 1
                assert colour.setdefault(int(steps.pop()), shade) == shade
    # Dearer is darker (luminance of ITU-R BT.601, from memory).
    light = [0.299 * r + 0.587 * g + 0.114 * b for _, (r, g, b, _) in sorted(colour.items())]
    assert light == sorted(light, reverse=True)
    assert len(set(colour.values())) == len(colour)


@pytest.mark.parametrize("suffix", [".png", ".svg", ".PNG"])
def test_files_are_whole_repeatable_and_readable(tmp_path, suffix):
    """A file has the signature of its format; the same sheet gives the same bytes, and nothing is left beside it."""
    shown = picture(load_tariff("summer-peak"), 2026)
    first, second = tmp_path / f"a{suffix}", tmp_path / f"b{suffix}"
    second.write_text("old")
    for path in (first, second):
        save_figure(lambda: plot_picture(shown), path)
    content = first.read_bytes()
    assert content == second.read_bytes()
    # PNG: RFC 2083, 3.1. SVG: an XML document with that root.
    assert content.startswith(b"\x89PNG\r\n\x1a\n") if suffix.lower() == ".png" else b"<svg " in content
    assert sorted(path.name for path in tmp_path.iterdir()) == [f"a{suffix}", f"b{suffix}"]
    assert first.stat().st_mode & 0o444


def test_a_drawing_that_fails_leaves_the_old_file(tmp_path):
    """Whatever goes wrong while drawing, the old picture stays and no scratch file is left."""
    path = tmp_path / "a.png"
    path.write_text("old")

    def broken():
        raise RuntimeError

    with pytest.raises(RuntimeError):
        save_figure(broken, path)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("rates.gif", "end its name in .png or .svg"),
        ("rates", "end its name in .png or .svg"),
        (
            "no/such/folder/rates.png",
            "cannot write no/such/folder/rates.png: No such file or directory; choose another",
        ),
    ],
)
def test_files_that_cannot_be_written(name, message, tmp_path, monkeypatch):
    """A wrong suffix or folder is said in one line."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=message):
        save_figure(lambda: plot_picture(picture(load_tariff("flat"), 2026)), Path(name))


def test_names_are_drawn_as_they_are(tmp_path):
    """Dollar signs and the like are no formulas."""
    text = (
        HEAD.replace("name: S", "name: '$a_b$ & <c>'")
        + "periods: {'$x^$': 1:00-2:00, y: rest}\nprices: {'$x^$': 1, y: 0}"
    )
    save_figure(lambda: plot_picture(picture(read_tariff(text), 2026)), tmp_path / "a.svg")
    drawn = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "$a_b$ &amp; &lt;c&gt;, 2026" in drawn
    assert "$x^$" in drawn
