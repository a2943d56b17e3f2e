"""What people get wrong in a rate sheet, and the exact sentence they get for it."""

import pytest

from chargeplan.errors import FileError
from chargeplan.tariff import load_tariff, read_tariff

HEAD = "name: A\ncurrency: USD\ntimezone: America/Denver\n"
SEASONS = "seasons: {summer: Jun 1 - Sep 30, winter: rest}\n"
PERIODS = "periods: {peak: 16:00-21:00, other: rest}\n"
BOTH = "prices: {peak: 2, other: 1}\n"

NUMBER = "is not a number; write digits with at most one dot, like 0.31"
NAME = "cannot be a name; use words without commas and not on, in, except, starting"
FORM = "see the examples in the README for the form"
GAP = "is in no period; extend one, or let one of them be `rest`"
OVERLAP = "let every minute be in one period only"


def messages_of(text, name="a.yaml"):
    with pytest.raises(FileError) as caught:
        read_tariff(text, name)
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "periods:\n  peak: 16:00-21:00 on weekdays\n  other: [21:00-16:00 on weekdays, 00:00-23:00 on weekends]\n",
            f"a.yaml:4:1: Sat 2024-01-06 23:00-24:00 {GAP}",
        ),
        (
            SEASONS + "periods: {peak: 16:00-21:00, other: [21:00-16:00 in summer, 22:00-16:00 in winter]}\n",
            f"a.yaml:5:1: Mon 2024-01-01 21:00-22:00 (winter) {GAP}",
        ),
        (
            "holidays: [Jul 4]\nperiods:\n  peak: 16:00-21:00 on weekdays except holidays\n"
            "  other: [21:00-16:00 on weekdays, all day on weekends]\n",
            f"a.yaml:5:1: Thu 2024-07-04 16:00-21:00 (holiday) {GAP}",
        ),
        # The night that began on Sunday, the day before the sheet, is none of Monday to Friday.
        (
            "effective: 2026-11-23\nperiods: {peak: 22:00-06:00 starting Mon-Fri, other: [06:00-22:00, "
            "22:00-24:00 on weekends]}\n",
            f"a.yaml:5:1: Mon 2026-11-23 00:00-06:00 {GAP}",
        ),
        (
            "periods:\n  peak: 16:00-21:00\n  other: 20:30-16:30\n",
            f"a.yaml:6:3: Mon 2024-01-01 16:00-16:30 is in `peak` and `other`; {OVERLAP}",
        ),
        (
            "periods:\n  peak: 22:00-06:00 starting Fri\n  other: [05:00-07:00 on Sat, 07:00-05:00 on Sat]\n",
            f"a.yaml:4:1: Mon 2024-01-01 00:00-24:00 {GAP}",
        ),
        (
            "periods:\n  peak: 22:00-06:00 starting Fri\n  other: 05:00-07:00 on Sat\n  third: rest\n",
            f"a.yaml:6:3: Sat 2024-01-06 05:00-06:00 is in `peak` and `other`; {OVERLAP}",
        ),
        # Only every few years does Christmas fall on a weekday in these dates: the first one is named.
        (
            "effective: 2027-01-01\nholidays: [Dec 25]\nperiods:\n  peak: 16:00-21:00 on weekdays\n"
            "  other: all day on holidays\n  third: rest\n",
            f"a.yaml:8:3: Mon 2028-12-25 16:00-21:00 (holiday) is in `peak` and `other`; {OVERLAP}",
        ),
        (
            "periods: {peak: rest, other: rest}\n",
            "a.yaml:4:23: `other` and `peak` are both `rest`; give one of them its hours",
        ),
    ],
)
def test_hours_that_do_not_cover_the_day(text, message):
    """A gap or an overlap names the first hours in time that are wrong, with their day, season and kind."""
    assert messages_of(HEAD + text + (BOTH if "third" not in text else BOTH.replace("}", ", third: 3}"))) == [message]


def test_a_fault_outside_the_dates_of_the_sheet_is_none():
    """Christmas falls on a weekend in 2027: a sheet of that year alone has no overlap."""
    text = "holidays: [Dec 25]\nperiods: {peak: 16:00-21:00 on weekdays, other: all day on holidays, third: rest}\n"
    prices = "prices: {peak: 1, other: 2, third: 3}\n"
    tariff = read_tariff(HEAD + "effective: 2027-01-01\nuntil: 2027-12-31\n" + text + prices)
    assert tariff.prices("2027-12-25", "2027-12-26", "24 h").item() == 2


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "seasons: {summer: Jun 1 - Sep 30, winter: Oct 2 - May 31}\n",
            "a.yaml:4:1: Oct 1 is in no season; extend a season, or let one of them be `rest`",
        ),
        (
            "seasons: {summer: Jun 1 - Oct 1, winter: Oct 1 - May 31}\n",
            "a.yaml:4:1: Oct 1 is in more than one season; let each day have one; both ends count",
        ),
        (
            "seasons: {summer: Mar 1 - Oct 31, winter: Nov 1 - Feb 28}\n",
            "a.yaml:4:1: Feb 29 (in leap years) is in no season; extend a season, or let one of them be `rest`",
        ),
        (
            "seasons: {summer: rest, winter: rest}\n",
            "a.yaml:4:25: `winter` and `summer` are both `rest`; give one of them its days",
        ),
        (
            "seasons: {summer: June 31 - Sep, winter: rest}\n",
            "a.yaml:4:11: summer: `June 31` does not exist; that month has 30 days at most",
        ),
        (
            "seasons: {summer: , winter: rest}\n",
            "a.yaml:4:11: summer: nothing cannot stand here; write for example Jun 1 - Sep 30",
        ),
        ("seasons: {summer: Jun" + " " * 300 + ", winter: rest, 'a, b': Jul}\n", f"a.yaml:4:338: a, b: `a, b` {NAME}"),
        (
            "seasons: {summer: 'Jun" + " " * 300 + "', winter: rest}\n",
            "a.yaml:4:11: summer: the text is longer than 300 characters; write for example Jun 1 - Sep 30",
        ),
    ],
)
def test_seasons(text, message):
    """Seasons that leave days out, take them twice or cannot be read."""
    assert messages_of(HEAD + text + "prices: {summer: 1, winter: 2}\n") == [message]


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        (
            SEASONS + "periods: {peak: 16:00-21:00 in sumer, other: rest}\n" + BOTH,
            ["a.yaml:5:11: `sumer` is not a season of this sheet; known are summer, winter"],
        ),
        (
            "periods: {peak: 16:00-21:00 in summer, other: rest}\n" + BOTH,
            ["a.yaml:4:11: `summer` is not a season of this sheet; known are none"],
        ),
        (
            SEASONS + PERIODS + "prices: {summer: {peak: 1, other: 2}, spring: 3}\n",
            [
                "a.yaml:6:1: no price in winter for `peak` and `other`; add `winter:` with its price per kWh",
                "a.yaml:6:39: `spring` is not a season of this sheet; known are summer, winter",
            ],
        ),
        (
            PERIODS + "prices: {peak: 1, other: 2, night: 3}\n",
            ["a.yaml:5:29: `night` is not a season or period of this sheet; known are peak, other"],
        ),
        (
            SEASONS + PERIODS + "prices: {summer: {peak: 1, other: 2, night: 3}, winter: 1}\n",
            ["a.yaml:6:38: `night` is not a period of this sheet; known are peak, other"],
        ),
        (PERIODS + "prices: {peak: 1}\n", ["a.yaml:5:1: no price for `other`; add `other:` with its price per kWh"]),
        (
            SEASONS + PERIODS + "prices: {summer: {peak: 1}, winter: {other: 2}}\n",
            [
                "a.yaml:6:10: no price in summer for `other`; add `other:` with its price per kWh",
                "a.yaml:6:29: no price in winter for `peak`; add `peak:` with its price per kWh",
            ],
        ),
        (
            SEASONS + "prices: {summer: 1}\n",
            ["a.yaml:5:1: there is no price in winter; add `winter:` with its price per kWh"],
        ),
        (
            SEASONS + PERIODS + "prices: {peak: {summer: 1, winter: 2}, other: 1}\n",
            ["a.yaml:6:10: `peak` is a period, so one price is wanted; or put the season first"],
        ),
        (
            PERIODS + "prices: 1\nexport: {peak: 1}\n",
            ["a.yaml:6:1: no price for `other`; add `other:` with its price per kWh"],
        ),
        ("prices: {}\n", ["a.yaml:4:1: there is no price; write one number, like 0.31"]),
        ("", ["a.yaml:1:1: there are no prices; add for example `prices: 0.31`, per kWh"]),
        ("components: {}\n", ["a.yaml:1:1: there are no prices; add for example `prices: 0.31`, per kWh"]),
        (
            "prices: 1\ncomponents: {supply: 1}\n",
            ["a.yaml:5:1: both `prices` and `components` are given; keep one; adders may stay"],
        ),
        (
            "seasons: {peak: Jun, other: rest}\n" + PERIODS + BOTH,
            [
                "a.yaml:5:11: `peak` is a season already; give the period another name",
                "a.yaml:5:30: `other` is a season already; give the period another name",
            ],
        ),
        (
            "components: {supply: 1}\nadders: {period: 1}\ntaxes: {season: 5 %}\n",
            [
                "a.yaml:5:10: `period` is the name of another column; give it another name",
                "a.yaml:6:9: `season` is the name of another column; give it another name",
            ],
        ),
        (
            "prices: 1\nadders: {energy: 1}\n",
            ["a.yaml:5:10: `energy` is a component already; give the adder another name"],
        ),
        (
            "components: {supply: 1}\ntaxes: {supply: 5 %}\n",
            ["a.yaml:5:9: `supply` is a component already; give the tax another name"],
        ),
        (
            "components: {supply: 1}\ntaxes: {vat: 5 % of delivery}\n",
            ["a.yaml:5:9: `delivery` is no line of this sheet; known are supply, charges"],
        ),
        (
            "prices: 1\ntaxes: {a: 5 % of b, b: 5 % of a}\n",
            ["a.yaml:5:9: `a` and `b` refer to one another in a circle; let one of them name the lines below it only"],
        ),
    ],
)
def test_prices_and_names(text, messages):
    """Prices that are missing, double or of things the sheet does not name."""
    assert messages_of(HEAD + text) == messages


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        (
            "prices: 1\nversions: [{from: 2026-06-01, prices: 2}, {from: 2026-03-01, prices: 3}]\n",
            ["a.yaml:5:44: 2026-03-01 is not after the version before it; put the oldest first"],
        ),
        (
            "prices: 1\nversions: [{from: 2026-06-01, prices: 2}, {from: 2026-06-01, prices: 3}]\n",
            ["a.yaml:5:44: 2026-06-01 is not after the version before it; put the oldest first"],
        ),
        (
            "effective: 2026-06-01\nprices: 1\nversions: [{from: 2026-06-01, prices: 2}]\n",
            ["a.yaml:6:13: 2026-06-01 is not after the version before it; put the oldest first"],
        ),
        (
            "until: 2026-06-01\nprices: 1\nversions: [{from: 2026-06-02, prices: 2}]\n",
            ["a.yaml:6:13: 2026-06-02 is after the sheet ends; give an earlier date"],
        ),
        (
            "effective: 2026-06-01\nuntil: 2026-05-31\nprices: 1\n",
            ["a.yaml:5:1: the sheet ends on 2026-05-31, before it begins; give a later date"],
        ),
        (
            "prices: 1\nversions: [{prices: 2}]\n",
            ["a.yaml:5:12: `from` in item 1 of `versions` is missing; add for example `from: 2027-01-01`"],
        ),
        (
            "prices: 1\nversions:\n",
            [
                "a.yaml:5:1: versions: nothing stands where a list is wanted; "
                "write a list, each item on a line after a dash"
            ],
        ),
        (
            "prices: 1\nversions: [bad, {prices: x, form: 2026-01-01}]\n",
            [
                f"a.yaml:5:12: `bad` stands where a mapping is wanted; {FORM}",
                f"a.yaml:5:18: prices: `x` {NUMBER}",
                "a.yaml:5:29: `form` is not known here; did you mean `from`?",
            ],
        ),
        (
            PERIODS + BOTH + "versions:\n  - from: 2026-01-01\n    prices: {peek: 1, other: 2}\n",
            [
                "a.yaml:8:5: no price for `peak`; add `peak:` with its price per kWh",
                "a.yaml:8:14: `peek` is not a season or period of this sheet; known are peak, other",
            ],
        ),
        (
            PERIODS
            + BOTH
            + "versions:\n  - from: 2026-01-01\n    periods: {peak: 17:00-20:00, night: 00:00-06:00, other: rest}\n",
            ["a.yaml:5:1: no price for `night`; add `night:` with its price per kWh"],
        ),
        (
            PERIODS + BOTH + "versions:\n  - from: 2026-01-01\n    periods: {peak: 17:00-20:00, other: 21:00-17:00}\n",
            [f"a.yaml:8:5: Thu 2026-01-01 20:00-21:00 {GAP}"],
        ),
        (
            "prices: 1\nversions: ["
            + ", ".join(f"{{from: {1971 + n // 12}-{n % 12 + 1:02}-01}}" for n in range(401))
            + "]\n",
            ["a.yaml:5:1: versions: 401 entries are too many; 400 can be read"],
        ),
    ],
)
def test_versions(text, messages):
    """Dates out of order, and mistakes inside a version, at the line of the version."""
    assert messages_of(HEAD + text) == messages


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "a.yaml:1:1: the file is empty; see the sheets in tariffs/ for what to write"),
        ("- name: A\n", "a.yaml:1:1: the file is not a list of `key: value` lines; start with `name:`"),
        ("name: A\nname: B\n", "a.yaml:2:1: `name` is given twice, first on line 1; keep one of them"),
        ("name: A\nperiods:\n\tpeak: 16:00-21:00\n", "a.yaml:3:1: a tab is used to indent; use spaces"),
        ("name: A\n---\nname: B\n", "a.yaml:2:1: the file holds more than one document (---); keep one per file"),
        (
            "name: !!python/name:os.system\n",
            "a.yaml:1:7: 'tag:yaml.org,2002:python/name:os.system' is a tag, and tags are not read; remove it",
        ),
        (
            "a: &a {b: 1}\n<<: *a\n",
            "a.yaml:2:1: merging with << is not read; name the hours once under `periods:` instead",
        ),
        (b"name: K\xfche\n", "a.yaml:1:8: the file is not UTF-8 text; save it as UTF-8"),
        (
            "a: " + "[" * 20 + "]" * 20,
            "a.yaml:1:23: more than 20 levels inside each other; a file of this kind needs far fewer",
        ),
        (
            "a: &a [x, x, x]\n" + "b: &b [" + ", ".join(["*a"] * 201) + "]\n",
            "a.yaml:2:808: more than 200 aliases (*name); a file of this kind needs far fewer",
        ),
    ],
)
def test_files_that_are_no_rate_sheet(text, message):
    """What the reader refuses comes through a rate sheet unchanged."""
    assert messages_of(text) == [message]


def test_an_anchor_bomb_in_a_sheet():
    """Ten lines of nine aliases each would unfold to three thousand million values: one message, no memory."""
    lines = ["periods:", "  a0: &a0 16:00-21:00"] + [
        f"  a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 10)
    ]
    (message,) = messages_of(HEAD + "\n".join(lines) + "\nprices: 1\n")
    assert message.endswith("aliases (*name) make the file too large when unfolded; write the values out instead")


def test_fifty_megabytes(tmp_path):
    """A meter's data instead of a sheet: refused by size."""
    large = tmp_path / "large.yaml"
    with large.open("wb") as stream:
        stream.truncate(50_000_000)
    with pytest.raises(FileError) as caught:
        load_tariff(large)
    assert str(caught.value) == (
        f"{large}:1:1: the file is larger than 1,000 kB; a rate sheet or household file is a few kB; "
        "is this the right file?"
    )


def test_a_name_that_is_no_sheet():
    """A misspelled name is an error at line 1 under that name."""
    with pytest.raises(FileError) as caught:
        load_tariff("no-such-sheet")
    assert str(caught.value) == "no-such-sheet:1:1: cannot read the file: No such file or directory; check the name"


TEN = """\
name: Ten mistakes
currency: dollars
timezone: America/Denvr
seasons: {summer: Jun 1 - Sep 31, winter: rest}
holidays: {country: US, shift: sideways}
periods:
  peak: 16:00-25:00 on weekdays
  other: rest
price: 0.3
prices:
  peak: free
  other: 0.2
taxes: {city: 5 percent}
fixed: 3
versions: [{prices: 0.4}]
"""


def test_ten_mistakes_at_once():
    """Ten mistakes in one file are ten messages, in the order of the lines."""
    found = messages_of(TEN, "ten.yaml")
    assert found == [
        "ten.yaml:2:1: currency: `dollars` is not a currency; write its three-letter code, like USD, EUR or JPY",
        "ten.yaml:3:1: timezone: `America/Denvr` is not a time zone; did you mean America/Denver or America/Detroit?",
        "ten.yaml:4:11: summer: `Sep 31` does not exist; that month has 30 days at most",
        "ten.yaml:5:25: shift: `sideways` is not known; write one of 'never', 'sunday to monday', "
        "'sunday adds monday', 'nearest weekday' or 'next free weekday'",
        "ten.yaml:7:3: peak: 25:00 is not a time of day; write 00:00 to 24:00",
        "ten.yaml:9:1: `price` is not known here; did you mean `prices`?",
        f"ten.yaml:11:3: peak: `free` {NUMBER}",
        "ten.yaml:13:9: city: `5 percent` is not a percentage; write for example 5 % or 5 % of delivery",
        "ten.yaml:14:1: fixed: `3` cannot stand here; write for example 0.42 per day",
        "ten.yaml:15:12: `from` in item 1 of `versions` is missing; add for example `from: 2027-01-01`",
    ]


def test_mistakes_of_form_and_of_sense_at_once():
    """What cannot be read does not hide what makes no sense, and brings no messages of its own making.

    The country is unknown, so nothing is said of holidays; the hours of `peak` cannot be read, so nothing of gaps; but
    the misspelled period, the missing tax base and the bad date are all told.
    """
    assert messages_of("""\
name: Several
currency: USD
timezone: America/Denver
effective: 2026-13-01
holidays: {country: ZZ}
periods:
  peak: 16-21 on weekdays except holidays
  night: 23:00-06:00
  other: rest
prices: {peak: 1, nigth: 2, other: 3}
adders: {discount: {price: -1, hours: 00:00-06:00 on holidays}}
taxes: {city: 5 % of delivery}
""") == [
        "a.yaml:4:1: effective: `2026-13-01` does not exist; write a date such as 2026-12-24",
        "a.yaml:5:12: no holiday data for country `ZZ`; write an ISO code such as US, CA or DE",
        "a.yaml:7:3: peak: 16 is not a time of day; write 00:00 to 24:00",
        "a.yaml:10:19: `nigth` is not a season or period of this sheet; known are peak, night, other",
        "a.yaml:12:9: `delivery` is no line of this sheet; known are discount, energy, charges",
    ]
