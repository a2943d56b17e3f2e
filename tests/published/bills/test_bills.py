"""Worked bills that somebody published: what the `checks:` of the sheets beside this file cannot say.

The source of every bill stands at the top of its YAML file, with what is printed and which misprints there are. What is
expected is typed here from that source and never read from the sheet.
"""

from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from chargeplan.reading import read_document
from chargeplan.tariff import load_tariff, read_tariff
from chargeplan.tariff.checks import failed_checks

FOLDER = Path(__file__).parent
SHEETS = sorted(FOLDER.glob("*.yaml"))


def sheet(name):
    return load_tariff(FOLDER / f"{name}.yaml")


def month(name, use, first="2026-01-01", last="2026-01-31", **more):
    return sheet(name).bill(use, start=first, end=last, **more)


def meter(zone, first, after, step, kw=()):
    """Energy of every interval of a span, from the power named by the local start of its interval."""
    index = pd.date_range(pd.Timestamp(first, tz=zone), pd.Timestamp(after, tz=zone), freq=step, inclusive="left")
    load = pd.Series(0.0, index=index)
    for stamp, power in dict(kw).items():
        assert pd.Timestamp(stamp, tz=zone) in load.index
        load[pd.Timestamp(stamp, tz=zone)] = power * pd.Timedelta(step).total_seconds() / 3600
    return load


# ---------------------------------------------------------------------------------------------- all of them


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_every_sheet_names_its_source(path):
    """Every sheet here says who published the bill, under what title, when and where, and that it is history."""
    top = path.read_text(encoding="utf-8").split("name:")[0]
    for word in ("# Publisher: ", "# Title: ", "Date: ", "# URL: ", "# Printed"):
        assert word in top
    assert "history" in top or "hours only" in top


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_every_sheet_gives_its_published_figures(path):
    """Every sheet has checks, and all of them hold."""
    tariff = load_tariff(path)
    assert tariff.sheet.checks
    assert not failed_checks(tariff, read_document(path))


# ---------------------------------------------------------------------------------------------- Ontario: losses


def test_losses_are_charged_unrounded():
    """Oakville Hydro: 726.32 and 26.32 kWh are charged; with the 26 kWh shown, 3.03 would be 2.99."""
    bill = month("ontario_tiers_and_losses", 700, "2022-06-01", "2022-06-30")
    quantities = {name: sum(item.quantity for item in bill.matching(name)) for name in bill.lines}
    assert quantities["electricity"] == pytest.approx(700)
    assert quantities["transmission"] == pytest.approx(726.32, abs=1e-9)
    assert quantities["wholesale market"] == pytest.approx(726.32, abs=1e-9)
    assert quantities["line losses"] == pytest.approx(26.32, abs=1e-9)
    (price,) = {item.price for item in bill.matching("line losses") if item.quantity}
    assert bill.lines["line losses"] == Decimal("3.03")
    assert (26 * Decimal(str(price))).quantize(Decimal("0.01"), ROUND_HALF_UP) == Decimal("2.99")


def test_kwh_and_amounts_of_the_tiers():
    """Oakville Hydro: 600 kWh at 0.098 are 58.80, 100 kWh at 0.115 are 11.50; delivery comes to 46.97."""
    bill = month("ontario_tiers_and_losses", 700, "2022-06-01", "2022-06-30")
    tiers = [(item.tier, item.quantity, item.price, item.amount) for item in bill.matching("electricity")]
    assert tiers == [
        (1, pytest.approx(600), 0.098, Decimal("58.80")),
        (2, pytest.approx(100), 0.115, Decimal("11.50")),
    ]
    delivery = ("monthly service", "variable delivery", "transmission", "line losses")
    assert sum(bill.lines[name] for name in delivery) == Decimal("46.97")


# ---------------------------------------------------------------------------------------------- demand


@pytest.mark.parametrize(
    ("name", "step"), [("colorado_demand_60_minutes", "1h"), ("colorado_demand_15_minutes", "15min")]
)
@pytest.mark.parametrize(
    ("second", "demand_kw", "amount"),
    [("17:00", 8, "24.00"), ("18:00", 4, "12.00")],
    ids=["together", "one after the other"],
)
def test_two_loads_together_or_one_after_the_other(name, step, second, demand_kw, amount):
    """CORE Electric Cooperative: two loads of 4 kW in 16:00-20:00 cost 24 together, and 12 one after the other."""
    loads = [
        meter("America/Denver", "2026-01-01", "2026-02-01", step, {f"2026-01-14 {start}": 4})
        for start in ("17:00", second)
    ]
    bill = sheet(name).bill(loads[0] + loads[1])
    assert bill.lines["evening"] == Decimal(amount)
    assert [item.quantity for item in bill.matching("evening") if item.quantity] == [pytest.approx(demand_kw)]


def test_only_the_evening_counts_and_only_its_highest_hour():
    """CORE Electric Cooperative: 16:00-20:00 every day; only the single highest hour is charged."""
    hours = {
        "2026-01-10 15:00": 9,
        "2026-01-11 20:00": 9,
        "2026-01-10 16:00": 3,
        "2026-01-17 19:00": 5,
        "2026-01-18 19:00": 4,
    }
    bill = sheet("colorado_demand_60_minutes").bill(meter("America/Denver", "2026-01-01", "2026-02-01", "1h", hours))
    assert bill.lines["evening"] == Decimal("15.00")  # Saturday 17 January: 5 x 3.00


def test_a_quarter_hour_is_a_quarter_of_an_hour():
    """CORE Electric Cooperative: a quarter-hour at 8 kW is a demand of 8 kW by 15 minutes, and of 2 kW by 60."""
    load = meter("America/Denver", "2026-01-01", "2026-02-01", "15min", {"2026-01-14 17:15": 8})
    assert sheet("colorado_demand_15_minutes").bill(load).lines["evening"] == Decimal("24.00")
    assert sheet("colorado_demand_60_minutes").bill(load).lines["evening"] == Decimal("6.00")


def test_same_energy_with_another_demand():
    """Los Alamos County: two homes use 60 kWh in 24 hours, one up to 6 kW, the other up to 3 kW: 6.00 and 3.00."""
    bursts = [6] * 4 + [3] * 4 + [1.5] * 16  # 24 + 12 + 24 kWh
    gentle = [3] * 12 + [2] * 12  # 36 + 24 kWh
    for kw, amount in ((bursts, "6.00"), (gentle, "3.00")):
        hours = {f"2026-08-12 {hour:02}:00": power for hour, power in enumerate(kw)}
        bill = sheet("new_mexico_demand").bill(meter("America/Denver", "2026-08-01", "2026-09-01", "1h", hours))
        assert bill.bought_kwh == pytest.approx(60)
        assert bill.lines["highest hour"] == Decimal(amount)
    # 60 kWh in 24 hours cannot cost less than their mean of 2.5 kW.
    even = {f"2026-08-12 {hour:02}:00": 2.5 for hour in range(24)}
    bill = sheet("new_mexico_demand").bill(meter("America/Denver", "2026-08-01", "2026-09-01", "1h", even))
    assert bill.lines["highest hour"] == Decimal("2.50")


def test_load_factor_and_kva_by_the_year():
    """Examination question, edurev.in: 100 kW with a load factor of 0.6 are 525,600 kWh: 9375 + 78840 = 88215."""
    load = meter("Asia/Kolkata", "2026-01-01", "2027-01-01", "1h")
    load[:] = np.where(np.arange(load.size) % 2, 100.0, 20.0)  # a mean of 60 kW
    bill = sheet("india_two_part_kva").bill(load)
    assert bill.bought_kwh == pytest.approx(525_600)
    (demand,) = bill.matching("maximum demand")
    assert (demand.quantity, demand.unit, demand.price) == (pytest.approx(125), "kVA", 75)
    assert bill.lines == {"energy": Decimal("78840.00"), "maximum demand": Decimal("9375.00")}
    assert bill.total == Decimal("88215.00")


def test_sums_of_a_bill_with_demand():
    """University of Nebraska-Lincoln, G2312: lines of 26,566.87 and, with taxes and dividend, 27,342.85.

    470,600 kWh and 986.4 kW are a load factor of 66.5 % in 29.89 days.
    """
    bill = month("nebraska_demand_sums", 470_600, "2018-07-01", "2018-07-31")
    last = ("taxes", "city dividend as printed")
    assert sum(amount for name, amount in bill.lines.items() if name not in last) == Decimal("26566.87")
    assert bill.total == Decimal("27342.85")
    assert bill.bought_kwh / (986.4 * 24 * 29.89) == pytest.approx(0.665, abs=0.0005)


# ---------------------------------------------------------------------------------------------- readings


def test_meter_readings():
    """Johnson City Power Board: 8865 to 9975 are 1110 kWh, 105.5610 rounded to 105.56."""
    bill = month("tennessee_readings", 9975 - 8865)
    (energy,) = bill.matching("energy")
    assert energy.quantity == pytest.approx(1110)
    assert energy.quantity * energy.price == pytest.approx(105.5610, abs=1e-9)
    assert energy.amount == Decimal("105.56")


def test_meter_readings_in_two_parts():
    """Erongo RED: 33179 to 34029 are 850 kWh; that somebody read 33500 in between changes no line."""
    parts = [("2026-01-01", 33500 - 33179), ("2026-01-15", 34029 - 33500)]
    bill = month("namibia_blocks_and_amperes", parts)
    assert bill.total == Decimal("1777.93")
    assert [(item.tier, item.quantity, item.amount) for item in bill.matching("energy")] == [
        (1, pytest.approx(250), Decimal("390.00")),
        (2, pytest.approx(500), Decimal("840.00")),
        (3, pytest.approx(100), Decimal("206.00")),
    ]
    (basic,) = bill.matching("basic charge")
    assert basic.quantity == pytest.approx(40)


# ---------------------------------------------------------------------------------------------- Egypt: tiers that reset


@pytest.mark.parametrize(
    ("kwh", "published"),
    [(50, 20), (100, 45), (150, 103.5), (250, 189), (300, 237), (600, 584), (650, 643), (651, 793), (750, 910)],
)
def test_tiers_that_reset(kwh, published):
    """Buhaira electricity distribution company: the nine totals that are no misprints, 651 kWh to the pound."""
    total = month("egypt_tier_resets", kwh, "2020-11-01", "2020-11-30").total
    assert total == Decimal(str(published)) or (kwh == 651 and round(total) == published)


def test_misprints():
    """Buhaira: 400 kWh are printed as 344, with 150 x 0.96 = 140, four too few; 500 kWh with a service of 18.

    The printed total of 466 needs a service of 15, which is also what 400, 600 and 650 kWh have.
    """
    bills = {kwh: month("egypt_tier_resets", kwh, "2020-11-01", "2020-11-30") for kwh in (400, 500)}
    assert bills[400].total - 344 == 150 * Decimal("0.96") - 140
    assert bills[500].total == 466
    assert bills[500].lines["energy"] + 18 == 469


def test_one_kwh_more_can_cost_a_hundred_and_fifty():
    """Buhaira: 650 kWh are 643, 651 are 793: the kWh that ends the tiers adds 150 (to the pound).

    Within the tiers a kWh more never costs less than nothing, and at most a few pounds.
    """
    totals = {
        kwh: month("egypt_tier_resets", kwh, "2020-11-01", "2020-11-30").total
        for kwh in (1, 49, 50, 51, 99, 100, 101, 200, 201, 350, 351, 649, 650, 651, 652)
    }
    assert totals[651] - totals[650] == Decimal("150.18")
    assert round(totals[651]) - totals[650] == 150
    assert totals[101] - totals[100] == Decimal("26.65")  # 101 x 0.65 - 43 = 22.65, and 4 more of service
    assert totals[652] - totals[651] == Decimal("1.18")
    amounts = [totals[kwh] for kwh in sorted(totals)]
    assert amounts == sorted(amounts)


# ---------------------------------------------------------------------------------------------- parts of a bill


def test_use_is_shared_by_days():
    """Oracle, service quantity proration: 100 kWh in 45 days, new price after 15: 33 and 67 kWh, rounded."""
    bill = month("price_change_by_days", 100, "2023-04-01", "2023-05-15")
    assert bill.days == 45
    quantities = {item.price: item.quantity for item in bill.matching("energy")}
    assert quantities == {1: pytest.approx(100 / 3, abs=1e-9), 2: pytest.approx(200 / 3, abs=1e-9)}
    assert [round(quantities[price]) for price in (1, 2)] == [33, 67]


def test_both_end_days_count():
    """Sub-metering company's help page: 12-30 April are 19 days, 19.00 of 30.00."""
    bill = month("fixed_charge_by_days", 0, "2024-04-12", "2024-04-30")
    assert bill.days == 19
    assert bill.lines["base"] == bill.total == Decimal("19.00")


@pytest.mark.parametrize(
    ("name", "full_kwh", "per_100_miles_kwh", "per_mile", "full"),
    [("us_charging_at_13_cents", 66, 33, "0.04", "9"), ("us_charging_at_10_7_cents", 54, 27, "0.03", "6")],
)
def test_cost_of_charging(name, full_kwh, per_100_miles_kwh, per_mile, full):
    """Plug In America and USA Today: to whole cents per mile and whole dollars per full battery. A weak check."""
    of_100_miles = month(name, per_100_miles_kwh).total
    assert (of_100_miles / 100).quantize(Decimal("0.01"), ROUND_HALF_UP) == Decimal(per_mile)
    assert month(name, full_kwh).total.quantize(Decimal("1"), ROUND_HALF_UP) == Decimal(full)


def test_change_of_price_inside_a_bill():
    """A household's bill of 2006: 849 kWh at 0.1426, 848 at 0.1516; VAT of 10 % on 313.18, fixed charges included."""
    readings = [("2006-03-01", 849), ("2006-04-01", 848)]
    bill = month("italy_2006_price_change", readings, "2006-03-01", "2006-05-01")
    energy = [(item.price, item.quantity, item.amount) for item in bill.matching("energy")]
    assert energy == [
        (0.1426, pytest.approx(849), Decimal("121.07")),
        (0.1516, pytest.approx(848), Decimal("128.56")),
    ]
    assert bill.lines["energy"] + bill.lines["first levy"] + bill.lines["second levy"] == Decimal("289.16")
    (vat,) = bill.matching("vat")
    assert vat.quantity == pytest.approx(313.18, abs=1e-9)
    assert bill.total == Decimal("344.50")


def test_contract_and_excise():
    """Italian list of 2024-25: 1.71 per kW and month, and excise with 150 kWh a month free up to 3 kW."""
    small = month("italy_power_and_excise_3_kw", 300, "2024-09-01", "2024-10-31")
    large = month("italy_power_and_excise_4_5_kw", 300, "2024-09-01", "2024-10-31")
    assert large.total - small.total == Decimal("11.94")
    beyond = month("italy_power_and_excise_3_kw", 310, "2024-09-01", "2024-10-31")
    assert beyond.lines["excise"] == Decimal("0.23")  # 10 x 0.0227
    assert month("italy_power_and_excise_3_kw", 300, "2024-09-01", "2024-10-31", contracted_kw=4.5).lines[
        "power share"
    ] == Decimal("15.39")


# ---------------------------------------------------------------------------------------------- prices in a ratio


@pytest.mark.parametrize(
    ("name", "lowest", "printed"),
    [("oahu_ratio_1_2_3", "0.1740", (17, 35, 52)), ("hawaii_ratio_1_2_3", "0.2060", (21, 41, 62))],
)
def test_whole_cents_in_the_ratio_of_1_to_2_to_3(name, lowest, printed):
    """Hawaiian Electric: 17, 35, 52 and 21, 41, 62 cents; only prices of a band a quarter of a cent wide give these."""
    text = (FOLDER / f"{name}.yaml").read_text(encoding="utf-8").split("checks:")[0]
    band = {"oahu_ratio_1_2_3": ("0.1725", "0.1750"), "hawaii_ratio_1_2_3": ("0.2050", "0.2075")}[name]

    def cents(price):
        use = {"midday": 1, "night": 1, "evening": 1}
        bill = read_tariff(text.replace(f"midday: {lowest}", f"midday: {price}")).bill(
            use, start="2026-01-01", end="2026-01-31"
        )
        return tuple(int(bill.matching(f"energy / {period}")[0].amount * 100) for period in use)

    below, above = (str(Decimal(edge) - Decimal("0.0001")) for edge in band)
    assert cents(lowest) == cents(band[0]) == cents(above) == printed
    assert cents(below) != printed
    assert cents(band[1]) != printed


# ---------------------------------------------------------------------------------------------- market


def test_market_price_with_factor_and_adder():
    """Help page of a supplier in Britain: 5 + 2 + 15 x 1.2 = 25 pence for the kWh of a half-hour at peak."""
    tariff = sheet("britain_half_hours_of_market")
    prices = tariff.prices("2022-01-12", "2022-01-13", 30)
    peak = (prices.index.hour >= 16) & (prices.index.hour < 19)
    assert peak.sum() == 6
    assert prices[peak].to_numpy() == pytest.approx(0.25, abs=1e-12)
    # The off-peak figure of the page is a misprint; what its formula gives for W = 15 is D + W.
    assert prices[~peak].to_numpy() == pytest.approx(0.20, abs=1e-12)
    bill = tariff.bill(meter("Europe/London", "2022-01-12", "2022-01-13", "30min", {"2022-01-12 16:30": 2}))
    assert bill.lines == {
        "distribution": Decimal("0.05"),
        "market": Decimal("0.18"),
        "peak adder": Decimal("0.02"),
    }


# ---------------------------------------------------------------------------------------------- export


def test_credits_are_rounded_down():
    """Mojo Power: 155 kWh at 0.22 are 34.10, 45 kWh at 0.075 are 3.375 and printed 3.37; half up would give 3.38."""
    bill = month("new_south_wales_two_step_export", 0, "2021-10-01", "2021-10-31", export=200)
    steps = [(item.tier, item.quantity, item.amount) for item in bill.matching("feed-in")]
    assert steps == [(1, pytest.approx(155), Decimal("-34.10")), (2, pytest.approx(45), Decimal("-3.37"))]
    half_up = read_tariff(
        (FOLDER / "new_south_wales_two_step_export.yaml")
        .read_text(encoding="utf-8")
        .split("checks:")[0]
        .replace(", rounding: down", "")
    )
    assert half_up.bill(0, start="2021-10-01", end="2021-10-31", export=200).total == Decimal("-37.48")


def test_the_step_per_day_counts_the_days_of_the_bill():
    """Mojo Power prints a step of 5 x 31 = 155 kWh for the month, although its text speaks of days.

    So it does not matter on which days the 200 kWh were sold.
    """
    name, zone = "new_south_wales_two_step_export", "Australia/Sydney"
    nothing = meter(zone, "2021-10-01", "2021-11-01", "1h")
    for days in (5, 25):
        sold = {f"2021-10-{day:02} 12:00": 200 / days for day in range(1, days + 1)}
        bill = sheet(name).bill(nothing, export=meter(zone, "2021-10-01", "2021-11-01", "1h", sold))
        assert bill.total == Decimal("-37.47")


def test_charge_on_midday_export_beyond_a_free_amount():
    """Ausgrid: 307 kWh between 10 and 15, 205 of them free, cost 1.19; 52 kWh after 16 earn 1.21; net -0.02."""
    zone = "Australia/Sydney"
    sold = {f"2025-11-{day:02} {hour}:00": 307 / 150 for day in range(1, 31) for hour in range(10, 15)}
    sold |= {f"2025-11-{day:02} {hour}:00": 52 / 60 for day in range(1, 31) for hour in (16, 17)}
    sold |= {f"2025-11-{day:02} 09:00": 3.0 for day in range(1, 31)}  # neither charged nor rewarded
    nothing = meter(zone, "2025-11-01", "2025-12-01", "1h")
    bill = sheet("sydney_two_way_export").bill(nothing, export=meter(zone, "2025-11-01", "2025-12-01", "1h", sold))
    charged = [item.quantity for item in bill.matching("midday charge") if item.price]
    assert charged == [pytest.approx(102)]
    assert bill.lines["midday charge"] == Decimal("1.19")
    assert bill.lines["evening reward"] == Decimal("-1.21")
    assert bill.total == Decimal("-0.02")


def test_discount_after_tax_and_no_tax_on_export():
    """Victorian planning department: 108.24 cents a day, x 1.1 x 0.93 = 110.7; 893.52 kWh in 92 days are 9.7 a day."""
    bill = month("victoria_supply_discount", 893.52, "2019-09-01", "2019-12-01")
    assert bill.days == 92
    assert round(bill.bought_kwh / bill.days, 1) == 9.7
    assert float(bill.total) / 92 * 100 == pytest.approx(110.7, abs=0.05)
    with_export = month("victoria_supply_discount", 893.52, "2019-09-01", "2019-12-01", export=100)
    assert bill.total - with_export.total == Decimal("12")  # 100 x 0.12, without GST or discount
    assert with_export.lines["gst"] == bill.lines["gst"]
