"""One slip is one message: what only follows from it is left out, what is wrong besides is told."""

import pytest

from chargeplan.errors import FileError
from chargeplan.tariff import read_tariff

HEAD = "name: A\ncurrency: USD\ntimezone: America/Denver\n"
MARKET = (
    "components: {grid: 0.1}\ntaxes: {state: 5 % of market and grid}\nminimum: {charge: 15 per month, of: [market]}\n"
)


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Stand beside one good and one bad file of market prices."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "day.csv").write_text("start,price\n2026-06-01T00:00Z,0.2\n")
    (tmp_path / "bad.csv").write_text("start,price\n2026-06-01T00:00Z,free\n")


def messages_of(text):
    with pytest.raises(FileError) as caught:
        read_tariff(text, "a.yaml")
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("market", "message"),
    [
        ("{file: bad.csv}", "bad.csv:2:19: `free` is not a price;"),
        ("{file: none.csv}", "a.yaml:4:10: there is no file `none.csv`"),
        ("{file: day.csv, per: GWh}", "a.yaml:4:25: per: `GWh` is not known;"),
        ("{file: day.csv, resolution: 1 A}", "a.yaml:4:25: 'A' is not a unit of duration;"),
        ("{fiel: day.csv}", "a.yaml:4:10: `fiel` is not known here; did you mean `file`?"),
        ("{per: MWh}", "a.yaml:4:1: `file` under `market` is missing;"),
        ("day.csv", "a.yaml:4:1: market: `day.csv` stands where a mapping is wanted;"),
    ],
)
def test_a_mistake_of_the_market(market, message):
    """Taxes and a minimum that name the market are not wrong; a misspelt name beside it still is."""
    text = HEAD + f"market: {market}\n" + MARKET
    (line,) = messages_of(text)
    assert line.startswith(message)
    assert any("`gird` is no line of this sheet" in line for line in messages_of(text.replace("and grid", "and gird")))
    assert any("`market` is no line of this sheet" in line for line in messages_of(HEAD + MARKET))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("seasons:", "season:", "4:1: `season` is not known here; did you mean `seasons`?"),
        ("timezone:", "time_zone:", "3:1: `time_zone` is not known here; did you mean `timezone`?"),
        ("periods:", "perods:", "5:1: `perods` is not known here; did you mean `periods`?"),
        ("prices: {s", "price: {s", "6:1: `price` is not known here; did you mean `prices`?"),
        ("taxes:", "tax:", "8:1: `tax` is not known here; did you mean `taxes`?"),
        ("price: 5", "prise: 5", "9:14: `prise` is not known here; did you mean `price`?"),
        ("{from: 2026-05", "{form: 2026-05", "10:13: `form` is not known here; did you mean `from`?"),
        ("seasons:", "jahreszeiten:", "4:1: `jahreszeiten` is not known here; known are"),
        ("periods:", "hours_of_day:", "5:1: `hours_of_day` is not known here; known are"),
        ("periods: {peak: 16:00-21:00 in summer, other: rest}", "periods: 5", "5:1: periods: `5` stands where"),
        ("seasons: {summer: Jun - Sep, winter: rest}", "seasons: Jun", "4:1: seasons: `Jun` stands where"),
    ],
)
def test_a_misspelt_key_of_a_sheet(old, new, message):
    """Uses of what stands under it bring no messages of their own."""
    text = HEAD + (
        "seasons: {summer: Jun - Sep, winter: rest}\nperiods: {peak: 16:00-21:00 in summer, other: rest}\n"
        "prices: {summer: {peak: 0.4, other: 0.2}, winter: 0.1}\n"
        "adders: {a: {price: 0.1, hours: 0:00-1:00 in winter}}\n"
        "taxes: {city: 5 % of energy, state: 5 % of city}\ndemand: {d: {price: 5, hours: 14:00-19:00 in summer}}\n"
        "versions: [{from: 2026-05-01, prices: {summer: {peak: 0.5, other: 0.2}, winter: 0.1}}]\n"
    )
    assert read_tariff(text)
    found = messages_of(text.replace(old, new, 1))
    assert len(found) == 1, found
    assert found[0].startswith(f"a.yaml:{message}")


def test_what_stands_under_a_misspelt_key_is_still_checked():
    """With its own line and column."""
    text = HEAD + "season:\n  summer: Jun - Sep 31\n  winter: rest\nprices: {summer: 0.3, wintre: 0.2}\n"
    assert messages_of(text) == [
        "a.yaml:4:1: `season` is not known here; did you mean `seasons`?",
        "a.yaml:5:3: summer: `Sep 31` does not exist; that month has 30 days at most",
        "a.yaml:7:23: `wintre` is not a season of this sheet; known are summer, winter",
    ]
