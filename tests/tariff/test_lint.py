"""What is allowed in a sheet but hardly meant, and how a sheet accepts it."""

from datetime import date

import pytest

from chargeplan.reading import read_document
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.lint import NEEDLESS, WARNINGS, SheetWarning, unknown_acceptances, warnings_of
from chargeplan.tariff.loading import shipped_folder

HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\n"
EXCEPT = "periods: {peak: 16:00-21:00 except holidays, other: rest}\n"
PEAK = "periods: {peak: 16:00-21:00, other: rest}\nprices: {peak: 0.4, other: 0.2}\n"


def found(text, today=None, accept=""):
    """Warnings of a sheet as text; what it accepts is read from the file only."""
    tariff = read_tariff(text, "a.yaml")
    return list(map(str, warnings_of(tariff, read_document("a.yaml", text=text + accept), today)))


def ids(text, **options):
    return [line.rpartition("(warning: ")[2].rstrip(")") for line in found(text, **options)]


@pytest.mark.parametrize("name", shipped_sheets())
def test_shipped_sheets_are_not_odd(name):
    """The sheets that people copy bring no warning."""
    document = read_document(shipped_folder() / f"{name}.yaml")
    assert warnings_of(load_tariff(name), document, date(2026, 11, 25)) == []
    assert unknown_acceptances(document) == []


def test_dear_prices():
    """Above 2 per kWh the prices may be cents, in currencies of large units; yen are never dear."""
    text = HEAD + (
        "until: 2026-12-31\nseasons: {summer: Jun - Sep, winter: rest}\nperiods: {peak: 16:00-21:00, other: rest}\n"
        "prices: {summer: {peak: 50, other: 0.2}, winter: 0.1}\n"
    )
    assert found(text) == [
        "a.yaml:7:1: 50 USD per kWh is very dear; if the prices are in cents, add `price_unit: cents`"
        " (warning: dear price)"
    ]
    assert found(text.replace("50", "1.99")) == []
    assert found(text.replace("50", "2.01")) != []
    assert found(text.replace("USD", "JPY")) == []
    assert found(text.replace("timezone", "price_unit: cents\ntimezone")) == []


def test_a_dear_version_is_named_at_its_own_place():
    """Each version is looked at; one that only changes hours is not blamed for the prices before it."""
    text = HEAD + PEAK + (
        "versions:\n  - {from: 2026-05-01, periods: {peak: 17:00-21:00, other: rest}}\n"
        "  - {from: 2026-07-01, prices: {peak: 40, other: 20}}\n"
    )  # fmt: skip
    assert [line.split(": ")[0] for line in found(text)] == ["a.yaml:8:24"]
    parts = HEAD + "components: {grid: 0.1, energy: 30}\n"
    assert found(parts)[0].startswith("a.yaml:4:1: 30.1 USD per kWh is very dear")


def test_negative_prices():
    """A credit above the price, all included; a discount that leaves something is none."""
    text = HEAD + PEAK + "adders: {discount: {price: -0.25, hours: 00:00-06:00}}\n"
    assert found(text) == [
        "a.yaml:5:1: a kWh costs -0.05 USD, less than nothing, on 2026-01-01 at 00:00; look for a minus too many"
        " (warning: negative price)"
    ]
    assert found(text.replace("0.25", "0.15")) == []


def test_a_season_out_of_the_dates():
    """A winter in a sheet of one summer; the same in a version only is none, if it comes in another."""
    text = HEAD + (
        "effective: 2026-06-01\nuntil: 2026-09-30\nseasons: {summer: Jun - Sep, winter: rest}\n"
        "prices: {summer: 0.3, winter: 0.2}\n"
    )
    assert found(text) == [
        "a.yaml:6:30: the season `winter` never occurs: no day of it is within the dates of the sheet;"
        " give it days within the dates of the sheet, or take it out (warning: unused season)"
    ]
    versions = "versions: [{from: 2026-08-01, prices: {summer: 0.4, winter: 0.3}}]\n"
    assert found(text.replace("until: 2026-09-30", "until: 2026-10-01") + versions) == []


def test_a_period_without_hours():
    """Windows of a season that has none of the days; holidays that come only after years are found."""
    text = HEAD + "holidays: [{rule}]\nperiods: {{rare: 10:00-12:00 on holidays, other: rest}}\nprices: 0.2\n"
    assert ids(text.format(rule="Feb 29").replace("{{", "{").replace("}}", "}")) == []
    unused = HEAD + "periods: {a: 00:00-12:00, b: 12:00-24:00, c: rest}\nprices: {a: 0.1, b: 0.2}\n"
    assert found(unused) == [
        "a.yaml:4:43: the period `c` never occurs: no hour is in it while the sheet is in force;"
        " give it hours that occur, or take it out (warning: unused period)"
    ]


@pytest.mark.parametrize(
    ("parts", "names"),
    [
        ("components: {grid: 0.1, levy: 0}", ["levy"]),
        ("components: {grid: 0.1, levy: {peak: 0, other: 0}}", ["levy"]),
        ("components: {grid: 0.1, levy: {peak: 0, other: 0.1}}", []),
        ("prices: 0.2\nadders: {levy: 0, fund: 0.01}", ["levy"]),
        ("prices: 0.2\nadders: {levy: {price: 0, hours: 00:00-06:00}}", ["levy"]),
        ("prices: 0.2\nadders: {levy: {price: 0.1, hours: 00:00-06:00}}", []),
        ("prices: 0.2\nadders: {levy: 0}\nversions: [{from: 2026-05-01, adders: {levy: 0.1}}]", []),
    ],
)
def test_parts_of_the_price_that_are_nothing(parts, names):
    """A part that is 0 at all times and in all versions."""
    text = HEAD + "periods: {peak: 16:00-21:00, other: rest}\n" + parts + "\n"
    lines = found(text)
    assert [line.split("`")[1] for line in lines if "unused component" in line] == names
    assert len(lines) == len(names)


def test_a_part_whose_hours_never_occur():
    """A discount on the holidays of a sheet that is not in force on any."""
    text = HEAD + (
        "effective: 2026-02-01\nuntil: 2026-02-28\nholidays: [Jul 4]\nprices: 0.2\n"
        "adders: {discount: {price: -0.1, hours: 00:00-06:00 on holidays}}\n"
    )
    assert found(text) == [
        "a.yaml:8:10: `discount` never applies: none of its hours occur; correct it, or take it out"
        " (warning: unused component)"
    ]


@pytest.mark.parametrize(
    ("holidays", "dates", "said"),
    [
        ("[Jan 1, fifth Monday of February]", "effective: 2026-01-01\nuntil: 2027-12-31", ["fifth"]),
        # 1 February 2044 is a Monday of a leap year (calendar), within the 28 years looked at.
        ("[Jan 1, fifth Monday of February]", "effective: 2026-01-01", []),
        ("[Jan 1, 2025-12-24, 2026-12-24]", "effective: 2026-01-01", ["2025"]),
        ("[Jan 1, 2026-12-24, 2029-12-24]", "until: 2028-12-31", ["2029"]),
        ("[Feb 29]", "effective: 2026-01-01\nuntil: 2027-12-31", ["Feb 29"]),
        ("{days: [Jan 1], except: [Jan 2]}", "effective: 2026-01-01", ["Jan 2"]),
        ("{days: [Jan 1], except: [2027-01-01]}", "effective: 2026-01-01", []),
        # In 2027 the fourth of July is a Sunday, kept on Monday the 5th.
        ("{days: [Jul 4], shift: sunday to monday, except: [2027-07-05]}", "effective: 2026-01-01", []),
        ("{days: [Jul 4], shift: sunday to monday, except: [2026-07-06]}", "effective: 2026-01-01", ["2026-07"]),
        ("{country: US, except: [Nov 11]}", "effective: 2026-01-01\nuntil: 2027-12-31", []),
        ("{country: US, except: [Nov 12]}", "effective: 2026-01-01\nuntil: 2027-12-31", ["Nov 12"]),
    ],
)
def test_holidays_that_never_occur(holidays, dates, said):
    """Rules without a date in the years of the sheet, dates outside its days, exceptions that except nothing."""
    text = HEAD + f"{dates}\nholidays: {holidays}\n{EXCEPT}prices: 0.2\n"
    lines = found(text)
    place = f"holidays: {holidays}".index
    assert [int(line.split(":")[2]) for line in lines] == [place(word) + 1 for word in said]
    assert all(line.endswith("(warning: holiday never occurs)") for line in lines)


def test_a_holiday_of_a_version_counts_where_it_is_in_force():
    """A single date in the list of the first version, but in the time of the second, which keeps the list."""
    text = HEAD + "holidays: [2027-12-24]\n" + EXCEPT + "prices: 0.2\nversions: [{from: 2027-01-01, prices: 0.3}]\n"
    assert found(text) == []
    assert ids(text.replace("prices: 0.3", "holidays: [Jan 1]")) == ["holiday never occurs"]


def test_a_sheet_that_is_past():
    """The day after the last day; not on it, and not without a date of today."""
    text = HEAD + "until: 2026-06-30\nprices: 0.2\n"
    assert found(text) == found(text, today=date(2026, 6, 30)) == []
    assert found(text, today=date(2026, 7, 1)) == [
        "a.yaml:4:1: the sheet ended on 2026-06-30, before today (2026-07-01); find the sheet that follows it,"
        " or accept the warning if it is kept as history (warning: expired sheet)"
    ]


@pytest.mark.parametrize(
    ("hours", "said"),
    [
        ("19:01-06:59", "19:01-06:59 misses the half hour by a minute"),
        ("00:00-23:59", "00:00-23:59 misses the half hour by a minute"),
        ("16:00-20:59 on weekdays", "16:00-20:59 misses the half hour by a minute"),
        ("12:15-12:16", "12:15-12:16 is one minute long"),
        ("16:15-20:45", ""),
        ("16:30-21:00, 23:00-24:00", ""),
    ],
)
def test_windows_of_a_minute(hours, said):
    """Edges a minute beside the half hour, as in the printed hours `7:01 pm-6:59 am` of a Minnesota rate.

    Source: City of Chaska, see tests/published/minnesota_electric_vehicles.yaml.
    """
    text = HEAD + f"periods: {{peak: '{hours}', other: rest}}\nprices: {{peak: 0.4, other: 0.2}}\n"
    lines = found(text)
    assert len(lines) == bool(said)
    assert all(f"a.yaml:4:11: {said}; hours go up to, not including, their end" in line for line in lines)
    lists = HEAD + f"periods: {{peak: [07:00-08:00, '{hours}'], other: rest}}\nprices: {{peak: 0.4, other: 0.2}}\n"
    assert len([line for line in found(lists) if "one-minute" in line]) == bool(said)


def test_the_right_hours_are_proposed():
    """The half hours nearest to what is written."""
    text = HEAD + "prices: 0.2\nadders: {night: {price: 0.1, hours: '19:01-06:59'}}\n"
    (line,) = found(text)
    assert line.startswith("a.yaml:5:30: 19:01-06:59 misses")
    assert "write 19:00-07:00" in line
    assert "write 00:00-24:00" in found(text.replace("19:01-06:59", "00:00-23:59"))[0]


@pytest.mark.parametrize(
    ("days", "name"),
    [("Mon-Thu", "Fri"), ("Mon and Wed-Fri", "Tue"), ("weekdays", ""), ("Mon-Wed", ""), ("every day", ""), ("Sat", "")],
)
def test_a_weekday_without_peak(days, name):
    """One of five weekdays lacks what the other four have; two are a choice."""
    text = HEAD + f"periods: {{peak: 16:00-21:00 on {days}, other: rest}}\nprices: {{peak: 0.4, other: 0.2}}\n"
    assert found(text) == (
        [
            f"a.yaml:4:11: {name} has no `peak`, the dearest period, but the other four weekdays have;"
            f" if {name} has it too, add it to the days (warning: day without peak)"
        ]
        if name
        else []
    )


def test_a_weekday_without_peak_in_one_season():
    """Seasons are looked at one by one; holidays on four of five Fridays do not matter."""
    text = HEAD + (
        "holidays: [Good Friday]\nseasons: {summer: Jun - Sep, winter: rest}\n"
        "periods:\n  peak: [16:00-21:00 on Mon-Thu in summer, 16:00-21:00 on weekdays except holidays in winter]\n"
        "  other: rest\nprices: {peak: 0.4, other: 0.2}\n"
    )
    (line,) = found(text)
    assert "Fri has no `peak` in summer" in line


def test_accepted_warnings():
    """An acceptance silences its warning; one that silences nothing, or comes twice, is a warning itself."""
    text = HEAD + "prices: 50\n"
    accept = "accept: [{warning: dear price, because: it is history}]\n"
    assert found(text, accept=accept) == []
    assert found(HEAD + "prices: 0.5\n", accept=accept) == [
        "a.yaml:5:10: there is no warning `dear price` to accept; take this acceptance out"
        " (warning: needless acceptance)"
    ]
    twice = "accept:\n  - {warning: dear price, because: a}\n  - {warning: dear  price, because: b}\n"
    assert found(text, accept=twice) == [
        "a.yaml:7:5: `dear price` is accepted twice; take this acceptance out (warning: needless acceptance)"
    ]


def test_acceptance_of_an_expired_sheet():
    """Without a date of today nobody knows whether it is needless."""
    text, accept = HEAD + "until: 2026-06-30\nprices: 0.2\n", "accept: [{warning: expired sheet, because: history}]\n"
    assert found(text, accept=accept) == []
    assert found(text, accept=accept, today=date(2027, 1, 1)) == []
    assert ids(text, accept=accept, today=date(2026, 1, 1)) == [NEEDLESS]


@pytest.mark.parametrize(
    ("name", "remedy"),
    [("deer price", "did you mean `dear price`?"), ("x", f"known are {', '.join(WARNINGS)}"), (NEEDLESS, "known are")],
)
def test_unknown_warnings(name, remedy):
    """A name that is no warning is a mistake, at its place, with the nearest name or all of them."""
    text = HEAD + f"prices: 0.2\naccept:\n  - {{because: why, warning: {name}}}\n"
    (mistake,) = unknown_acceptances(read_document("a.yaml", text=text))
    assert str(mistake).startswith(f"a.yaml:6:20: `{name}` is not a warning; {remedy}")


def test_warnings_come_in_the_order_of_the_lines():
    """Sorted by place, each a `Mistake` with a name."""
    text = HEAD + "until: 2026-06-30\nperiods: {peak: 16:01-21:00, other: rest}\nprices: {peak: 50, other: -1}\n"
    warnings = warnings_of(read_tariff(text), read_document("a.yaml", text=text), date(2027, 1, 1))
    assert [(warning.line, warning.id) for warning in warnings] == [
        (4, "expired sheet"),
        (5, "one-minute window"),
        (6, "dear price"),
        (6, "negative price"),
    ]
    assert all(isinstance(warning, SheetWarning) and warning.remedy for warning in warnings)
    assert {warning.id for warning in warnings} <= set(WARNINGS)


@pytest.mark.parametrize(
    ("prices", "dear"),
    [
        ("prices: 0.10 up to 600 then 20", "20"),
        ("prices: 0.10 up to 600 kWh per 30 days then 1.9", ""),
        ("components: {grid: {prices: {peak: 0.1 up to 250 then 15, other: 0.1 up to 250 then 0.2}}}", "15"),
        ("components: {grid: 0.1, energy: {cases: [{up_to: 500, prices: 0.2}, {prices: 14}]}}", "14"),
        ("prices: {peak: 0.4, other: 70 % of peak}", ""),
    ],
)
def test_dear_prices_beyond_the_first_tier(prices, dear):
    """Prices that no hour of the year laid out has: later tiers, and bills of much use."""
    lines = found(HEAD + "periods: {peak: 16:00-21:00, other: rest}\n" + prices + "\n")
    assert [line.split(" ")[1] for line in lines if "dear price" in line] == ([dear] if dear else [])
    assert len(lines) == bool(dear)


def test_dear_days_that_are_still_to_be_called():
    """The price of critical days counts before any is called; their period may wait for its first hour."""
    text = HEAD + (
        "called: {critical: {days: [2020-01-14], unknown: not called}}\n"
        "periods: {critical: 16:00-21:00 on critical days, other: rest}\nprices: {critical: 50, other: 0.2}\n"
    )
    assert ids(text) == ["dear price"]
    assert ids(text.replace("50", "1.5")) == []


def test_seasons_of_prices():
    """Seasons of the hours are not called unused where the prices have seasons of their own."""
    text = HEAD + (
        "seasons: {hot: Jun - Aug, other: rest}\nprice_seasons: {summer: Jul - Sep, winter: rest}\n"
        "periods: {peak: 15:00-19:00 in hot, off-peak: rest}\n"
        "prices: {summer: {peak: 0.3, off-peak: 0.1}, winter: {peak: 0.2, off-peak: 0.1}}\n"
    )
    assert ids(text) == []


@pytest.mark.parametrize(
    ("export", "told"),
    [("export: 0.06", True), ("export: {peak: 0.06, off-peak: 0}", True), ("export: -0.02", False), ("", False)],
)
def test_what_is_sold_twice(export, told):
    """Net metering takes what is sold off what is bought; an export price pays for it again, a charge does not."""
    text = (
        "name: A\ncurrency: USD\ntimezone: America/Denver\nperiods: {peak: 07:00-21:00 on weekdays, off-peak: rest}\n"
        f"prices: {{peak: 0.3, off-peak: 0.1}}\nnet_metering: {{true_up: Mar}}\n{export}\n"
    )
    warnings = [line for line in found(text) if "sold twice" in line]
    assert bool(warnings) == told
    assert all(line.startswith("a.yaml:7:1: `export` pays for what is sold") for line in warnings)
