"""Whole sheets with files beside them, overrides, clocks and known days, against figures worked out by hand."""

from datetime import date

import pytest

from chargeplan.errors import FileError, InputError
from chargeplan.tariff import load_tariff, read_tariff

HEAD = "name: A\ncurrency: EUR\ntimezone: Europe/Berlin\n"
#: Two days around the spring change of 2026 in Berlin: the 29th has 23 hours.
MARKET = "start,price\n" + "".join(
    f"2026-03-{28 + (hour + 1) // 24:02d}T{(hour + 1) % 24:02d}:00+01:00,{10 * hour - 20}\n" for hour in range(-1, 40)
)


def write(folder, **files):
    for name, text in files.items():
        (folder / name.replace("_", ".")).write_text(text, encoding="utf-8")


def test_market_prices_with_factor_and_adder(tmp_path):
    """Price = D + Q + W x P by the clock, as half-hourly contracts print it; prices may be negative."""
    write(
        tmp_path,
        m_csv=MARKET,
        a_yaml=HEAD
        + "periods: {peak: 16:00-19:00, other: rest}\ncomponents: {own: {peak: 0.07, other: 0.05}}\n"
        + "market: {file: m.csv, per: MWh, times: {peak: 1.2, other: 1}}\n",
    )
    tariff = load_tariff(tmp_path / "a.yaml")
    prices = tariff.prices("2026-03-28 00:00", "2026-03-28 18:00", "1 h").round(9)
    assert prices.iloc[0] == pytest.approx(0.05 - 0.030)  # -30 per MWh
    assert prices.iloc[1] == pytest.approx(0.05 - 0.020)
    assert prices.iloc[16] == pytest.approx(0.07 + 1.2 * 0.130)
    frame = tariff.frame("2026-03-28 16:00", "2026-03-28 17:00", "1 h")
    assert frame["market"].iloc[0] == pytest.approx(0.156)
    hourly = tariff.prices("2026-03-28", "2026-03-29", "1 h")
    bill = tariff.bill(hourly * 0 + 2.0)
    by_hand = sum(2.0 * (10 * hour - 30) / 1000 * (1.2 if 16 <= hour < 19 else 1.0) for hour in range(24))
    assert float(bill.lines["market"]) == pytest.approx(by_hand, abs=0.011)  # two items, each rounded


def test_a_missing_price_is_named_or_replaced(tmp_path):
    """Where the file ends the first missing hour is named; with `missing` that price is taken."""
    sheet = HEAD + "market: {file: m.csv, per: MWh MISSING}\n"
    write(tmp_path, m_csv=MARKET, a_yaml=sheet.replace(" MISSING", ""))
    with pytest.raises(InputError, match="no price for 2026-03-29 16:00 UTC"):
        load_tariff(tmp_path / "a.yaml").prices("2026-03-29 12:00", "2026-03-30 12:00", "1 h")
    write(tmp_path, a_yaml=sheet.replace(" MISSING", ", missing: 0.4"))
    assert load_tariff(tmp_path / "a.yaml").prices("2026-03-30", "2026-03-31", "1 h").unique().tolist() == [0.4]


def test_called_days_from_a_file(tmp_path):
    """Two kinds in one file; a kind that the sheet does not have is a mistake with its line."""
    sheet = HEAD + (
        "called: {red: {file: days.csv}, white: {file: days.csv}}\n"
        "periods: {red: 06:00-22:00 on red, white: 06:00-22:00 on white, blue: rest}\n"
        "prices: {red: 0.7, white: 0.2, blue: 0.1}\n"
    )
    write(tmp_path, days_csv="date,kind\n2026-01-14,red\n2026-01-15,white\n", a_yaml=sheet)
    tariff = load_tariff(tmp_path / "a.yaml")
    found = [tariff.prices(f"2026-01-{day} 12:00", f"2026-01-{day} 13:00", "1 h").iloc[0] for day in (14, 15, 16)]
    assert found == [0.7, 0.2, 0.1]
    write(tmp_path, days_csv="date,kind\n2026-01-14,rde\n")
    with pytest.raises(FileError) as error:
        load_tariff(tmp_path / "a.yaml")
    assert [(mistake.line, mistake.what) for mistake in error.value.mistakes] == [
        (2, "`rde` is no kind of called days of the sheet")
    ]


def test_an_override_replaces_the_schedule_and_ends():
    """Every hour of 21 days at one price, in the middle of a version that starts meanwhile."""
    tariff = read_tariff(
        HEAD + "effective: 2021-01-01\nperiods: {peak: 08:00-20:00, off: rest}\nprices: {peak: 0.3, off: 0.1}\n"
        "versions: [{from: 2022-02-01, prices: {peak: 0.4, off: 0.2}}]\n"
        "overrides:\n  - {from: 2022-01-18, days: 21, prices: 0.082}\n"
        "  - {from: 2022-03-01, to: 2022-03-01, period: off}\n"
    )

    def at(day):
        return tariff.prices(day, f"{day} 23:00", "1 h").unique().tolist()

    days = ("2022-01-17", "2022-01-18", "2022-02-07", "2022-02-08", "2022-03-01", "2022-03-02")
    assert [at(day) for day in days] == [
        [0.1, 0.3], [0.082], [0.082], [0.2, 0.4], [0.2], [0.2, 0.4],
    ]  # fmt: skip


def test_overrides_that_cannot_be():
    """An end before the beginning, an overlap, an unknown period, both ways to say the end."""
    text = (
        HEAD
        + "prices: 1\noverrides:\n"
        + "".join(
            f"  - {{{one}}}\n"
            for one in (
                "from: 2022-01-18, to: 2022-01-01, prices: 2",
                "from: 2022-02-01, days: 10, prices: 2",
                "from: 2022-02-10, days: 2, prices: 3",
                "from: 2022-03-01, days: 1, to: 2022-03-02, prices: 3",
                "from: 2022-04-01, days: 1, period: peak",
            )
        )
    )
    with pytest.raises(FileError) as error:
        read_tariff(text)
    assert [mistake.line for mistake in error.value.mistakes] == [6, 8, 9, 10]


def test_a_bill_across_two_versions_without_intervals():
    """100 kWh over 45 days, the price changes after 15: 33.33 and 66.67 kWh, as utilities split it by days."""
    tariff = read_tariff(HEAD + "effective: 2026-01-01\nprices: 0.30\nversions: [{from: 2026-04-16, prices: 0.60}]\n")
    bill = tariff.bill(100, start="2026-04-01", end=date(2026, 5, 15))
    assert [(item.version, round(item.quantity, 2), str(item.amount)) for item in bill.items] == [
        ("2026-01-01", 33.33, "10.00"),
        ("2026-04-16", 66.67, "40.00"),
    ]
    assert [item.place for item in bill.items] == ["sheet.yaml:5", "sheet.yaml:6"]
