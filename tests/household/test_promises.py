"""Promises about any night, recomputed from nothing but the printed JSON, the household file and `Tariff.day`."""

import json
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from household_cases import most_amperes, number, phases_used, read_sheet, sheets, volts_to_neutral
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from chargeplan.household import plan_days, plan_tonight
from chargeplan.output.data import plan_data, plan_rows

PROMISE = settings(deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
PRESENT = st.datetimes(datetime(2026, 2, 1), datetime(2026, 12, 20)).map(lambda t: t.replace(microsecond=0, tzinfo=UTC))
SOC = (st.integers(0, 1000) | st.integers(0, 500)).map(lambda n: f"{n / 10:g} %")
#: Days around the clock changes of 2026 in North America, Europe and Lord Howe Island.
CHANGES = st.sampled_from([(3, 8), (3, 29), (4, 5), (10, 4), (10, 25), (11, 1)]).flatmap(
    lambda day: st.datetimes(datetime(2026, *day) - timedelta(days=1), datetime(2026, *day) + timedelta(days=1)).map(
        lambda t: t.replace(microsecond=0, tzinfo=UTC)
    )
)


def seconds(text):
    """A printed instant as UTC seconds; it carries its offset."""
    moment = datetime.fromisoformat(text)
    assert moment.utcoffset() is not None
    return moment.timestamp()


def stretches(tariff, start_s, end_s):
    """The stretches of equal price between two instants, from `Tariff.day`: (start, end, price)."""
    day = datetime.fromtimestamp(start_s, UTC).date() - timedelta(days=1)
    found = []
    while not found or found[-1][1] < end_s:
        for run in tariff.day(day):
            first, last = max(run.start_s, start_s), min(run.end_s, end_s)
            if first < last:
                found.append((first, last, run.price_per_kwh))
        day += timedelta(days=1)
    assert found[0][0] == start_s
    assert all(a[1] == b[0] for a, b in pairwise(found)), "every second has one price"
    return found


def steady_cost(tariff, start_s, end_s, power_kw):
    """Cost of a steady power, and the range of prices it saw."""
    parts = stretches(tariff, start_s, end_s)
    prices = [price for *_, price in parts]
    cost = sum((last - first) / 3600 * power_kw * price for first, last, price in parts)
    return cost, max(prices) - min(prices)


def cheapest_cost(parts, power_kw, wall_kwh):
    """Least cost of an energy from stretches of time at one power: fill the cheapest first (a fractional knapsack)."""
    cost = 0.0
    for first, last, price in sorted(parts, key=lambda part: part[2]):
        taken = min((last - first) / 3600 * power_kw, wall_kwh)
        cost += taken * price
        wall_kwh -= taken
    assert wall_kwh < 1e-6, "the energy fits the time"
    return cost


def printed(plan):
    """What `--json` prints, read back."""
    return json.loads(json.dumps(plan_data(plan), allow_nan=False))


def check_windows(data, sheet, tariff, *, exact):
    """Every window lies in its stay, after the one before, below every limit, and costs what its minutes cost."""
    volts, phases, most_a = volts_to_neutral(sheet["circuit"]), phases_used(sheet), most_amperes(sheet)
    spans = [(stay["place"], seconds(stay["start"]), seconds(stay["end"])) for stay in data["stays"]]
    for window in data["windows"]:
        start_s, end_s = seconds(window["start"]), seconds(window["end"])
        assert any(p == window["place"] and a <= start_s < end_s <= b for p, a, b in spans) or end_s == start_s
        assert window["current_a"] <= most_a * (1 + 1e-12)
        limit_kw = window["current_a"] * volts * phases / 1000
        hours = (end_s - start_s + 2) / 3600  # printed to the second
        assert window["wall_kwh"] <= limit_kw * hours + 1e-9
        assert 0 < window["battery_kwh"] <= window["wall_kwh"] + 1e-9
        if exact and end_s - start_s > 60:
            cost, spread = steady_cost(tariff, start_s, end_s, window["wall_kwh"] * 3600 / (end_s - start_s))
            assert window["cost"] == pytest.approx(cost, abs=2 / 3600 * limit_kw * spread + 1e-6)
    for before, after in pairwise(data["windows"]):
        assert seconds(before["end"]) <= seconds(after["start"])
    for key in ("wall_kwh", "battery_kwh", "cost"):
        assert data[key] == pytest.approx(sum(window[key] for window in data["windows"]), abs=1e-6)


def check_stays(data, sheet):
    """No stay promises more than circuit, EVSE and onboard charger give; EVSE currents are whole steps."""
    most_a = most_amperes(sheet)
    step = number(sheet["evse"].get("step", "1 A"))
    for stay in data["stays"]:
        current = stay["limit"]["current_a"]
        assert 0 <= current <= most_a * (1 + 1e-12)
        assert current > most_a - step - 1e-9 or current == 0, "no more than a step is given away"
        kw = current * volts_to_neutral(sheet["circuit"]) * phases_used(sheet) / 1000
        assert stay["limit"]["wall_kw"] == pytest.approx(kw, abs=1e-9)
        if current == 0:
            assert "no charging" in stay["limit"]["because"]


@settings(PROMISE, max_examples=300)
@given(sheet=sheets(), now=PRESENT | CHANGES, soc=SOC, plugged_in=st.booleans())
def test_a_night_keeps_every_limit_and_is_the_cheapest(sheet, now, soc, plugged_in, sheet_folder):
    """Amperes, kW, levels and cost of a random night hold against arithmetic done here from the JSON alone.

    Circuit: NFPA 70 (2023) 210.20(A), 80 % of the breaker unless stated. Power: volts x amperes x phases.
    Cost: price of `Tariff.day` x energy. Least cost: the cheapest stretches of the stay filled first, after what
    the floor demands at once; with positive prices nothing else can be cheaper.
    """
    home = read_sheet(sheet, sheet_folder)
    data = printed(plan_tonight(home, soc=soc, now=now, plugged_in=plugged_in))
    check_stays(data, sheet)
    check_windows(data, sheet, home.tariff, exact=True)

    (stay,) = data["stays"]
    start_s, end_s = seconds(stay["start"]), seconds(stay["end"])
    usable, wall_kw = number(sheet["vehicle"]["usable_battery"]), stay["limit"]["wall_kw"]
    level, target = data["state_of_charge"]["share"], data["target"]
    leaves = stay["departure"]["state_of_charge"]
    assert leaves == pytest.approx(level + data["battery_kwh"] / usable, abs=1e-9)
    # A full car is not emptied; otherwise the target is met exactly, or missed with charging all the time.
    highest = max(level, target, number(sheet["vehicle"].get("daily_limit", "0 %")))
    assert leaves <= highest + 1e-9
    assert data["reachable"] == (leaves >= target - 1e-7)
    if data["reachable"]:
        assert leaves == pytest.approx(max(level, target), abs=1e-7)
    else:
        assert data["wall_kwh"] == pytest.approx(wall_kw * (end_s - start_s) / 3600, rel=1e-6)
        assert stay["departure"]["shortfall_kwh"] == pytest.approx((target - leaves) * usable, abs=1e-6)
    assert data["proof"]["optimal"]

    # Charging at once, to the same level.
    needed_h = data["wall_kwh"] / wall_kw if wall_kw else 0.0
    at_once = steady_cost(home.tariff, start_s, start_s + 3600 * needed_h, wall_kw)[0] if needed_h > 1e-9 else 0.0
    assert data["compared_with"]["on_plug_in"]["cost"] == pytest.approx(at_once, abs=1e-6)
    assert data["cost"] <= at_once + 1e-6
    assert data["compared_with"]["on_plug_in"]["saving"] == pytest.approx(at_once - data["cost"], abs=1e-6)

    # A timer that starts when the cheapest price first applies, and may run out of time.
    if needed_h > 1e-9:
        parts = stretches(home.tariff, start_s, end_s)
        cheapest = min(price for *_, price in parts)
        begin_s = next(first for first, _, price in parts if price <= cheapest + 1e-12)
        timer_h = min(needed_h, (end_s - begin_s) / 3600)
        timer = data["compared_with"]["timer"]
        assert timer["cost"] == pytest.approx(
            steady_cost(home.tariff, begin_s, begin_s + 3600 * timer_h, wall_kw)[0], abs=1e-6
        )
        missing_kwh = (needed_h - timer_h) * wall_kw * data["battery_kwh"] / data["wall_kwh"]
        assert timer["shortfall_kwh"] == pytest.approx(missing_kwh, abs=2e-6)

    # The floor first, then the cheapest.
    if needed_h > 1e-9:
        gain = data["battery_kwh"] / data["wall_kwh"]
        floor_kwh = max(0.0, number(sheet["habits"]["floor"]) - level) * usable / gain
        forced_h = min(floor_kwh / wall_kw, needed_h)
        split_s = start_s + 3600 * forced_h
        forced = steady_cost(home.tariff, start_s, split_s, wall_kw)[0] if forced_h > 1e-9 else 0.0
        rest = max(data["wall_kwh"] - wall_kw * forced_h, 0.0)
        least = forced + (cheapest_cost(stretches(home.tariff, split_s, end_s), wall_kw, rest) if rest > 1e-9 else 0.0)
        assert data["cost"] == pytest.approx(least, abs=1e-5)
        event("reachable" if data["reachable"] else "out of reach")
        event("waits" if data["cost"] < at_once - 1e-6 else "charges at once")


@settings(PROMISE, max_examples=80)
@given(sheet=sheets(taper=True), now=PRESENT | CHANGES, soc=SOC)
def test_a_night_with_a_taper(sheet, now, soc, sheet_folder):
    """With a taper, no slot of the printed rows gains more than the battery accepts at its end, nor draws too much.

    The accepted power is interpolated here between the points of the file; it never rises with the level.
    """
    home = read_sheet(sheet, sheet_folder)
    plan = plan_tonight(home, soc=soc, now=now)
    data = printed(plan)
    check_stays(data, sheet)
    check_windows(data, sheet, home.tariff, exact=False)
    usable, wall_kw = number(sheet["vehicle"]["usable_battery"]), data["stays"][0]["limit"]["wall_kw"]
    points = [(number(share), number(kw)) for share, kw in sheet["vehicle"]["taper"].items()]
    header, rows = plan_rows(plan)
    total = 0.0
    for values in rows:
        row = dict(zip(header, values, strict=True))
        total += row["cost"]
        assert row["cost"] == pytest.approx(row["wall_kwh"] * row["price_per_kwh"], abs=2e-6)
        assert row["wall_kwh"] <= wall_kw * row["hours"] + 1e-4  # hours are printed to the millionth
        # Rounded to six decimals, the level may read a millionth higher than it is.
        level = min(row["state_of_charge"], 1.0)
        (x0, y0), (x1, y1) = next((a, b) for a, b in pairwise(points) if level <= b[0] + 1e-9)
        accepted = y0 + (y1 - y0) * (level - x0) / (x1 - x0)
        assert row["battery_kwh"] <= accepted * row["hours"] + 1e-4
    assert total == pytest.approx(data["cost"], abs=1e-6 * len(plan.schedule.hours))
    assert data["state_of_charge"]["share"] + data["battery_kwh"] / usable == pytest.approx(
        data["stays"][0]["departure"]["state_of_charge"], abs=1e-7
    )
    habit = data["compared_with"]["on_plug_in"]
    assert data["cost"] <= habit["cost"] + 1e-6 or habit["shortfall_kwh"] > 0


@settings(PROMISE, max_examples=60)
@given(sheet=sheets(), now=PRESENT, soc=SOC, days=st.integers(1, 6))
def test_days_keep_every_limit(sheet, now, soc, days, sheet_folder):
    """The plan of several days keeps the same limits in every stay, and is no dearer than charging on plug-in."""
    home = read_sheet(sheet, sheet_folder)
    data = printed(plan_days(home, days, soc=soc, now=now))
    check_stays(data, sheet)
    check_windows(data, sheet, home.tariff, exact=True)
    highest = max(number(soc), data["target"], number(sheet["vehicle"].get("daily_limit", "0 %")))
    for stay in data["stays"]:
        assert 0 <= stay["departure"]["state_of_charge"] <= highest + 1e-9
        assert (stay["departure"]["shortfall_kwh"] > 0) == (
            stay["departure"]["state_of_charge"] < stay["departure"]["needed"] - 1e-7
        )
    assert data["reachable"] == all(stay["departure"]["shortfall_kwh"] == 0 for stay in data["stays"])
    habit = data["compared_with"]["on_plug_in"]
    assert habit["saving"] >= -1e-6 or habit["shortfall_kwh"] > 0
    assert data["proof"]["optimal"]


@settings(PROMISE, max_examples=40)
@given(sheet=sheets(taper=False), now=PRESENT, soc=st.integers(0, 30).map(lambda n: f"{n} %"), data=st.data())
def test_what_mends_a_target_out_of_reach_mends_it(sheet, now, soc, data, sheet_folder):
    """README: a target out of reach says what would mend it; doing so does, and a minute or an ampere less does not."""
    sheet["habits"]["target"], sheet["habits"]["floor"] = "100 %", "0 %"
    sheet["evse"] = {"max_current": sheet["evse"]["max_current"]}
    home = read_sheet(sheet, sheet_folder)
    first = plan_tonight(home, soc=soc, now=now, plugged_in=True)
    leave = now + timedelta(minutes=data.draw(st.integers(1, 600)))
    tight = plan_tonight(home, soc=soc, now=now, plugged_in=True, leave=leave)
    found = printed(tight)
    assume(not found["reachable"])
    assert first.now_s == tight.now_s
    (fix,) = found["fixes"]
    assert fix["shortfall_kwh"] == found["stays"][0]["departure"]["shortfall_kwh"]
    if found["stays"][0]["limit"]["current_a"] == 0:
        assert (fix["leave_later_min"], fix["more_a"]) == (None, None)
        return

    def reached(home, minutes=0):
        later = leave + timedelta(minutes=minutes)
        return printed(plan_tonight(home, soc=soc, now=now, plugged_in=True, leave=later))["reachable"]

    if fix["leave_later_min"] is not None:
        assert reached(home, fix["leave_later_min"])
        assert not reached(home, fix["leave_later_min"] - 1)
    current = found["stays"][0]["limit"]["current_a"]
    if fix["more_a"] is None or current + fix["more_a"] > 80:
        return  # no EVSE announces more than 80 A
    # The same household with links that let so much more current through.
    allowed = f"{current + fix['more_a']:.9f} A"
    sheet["circuit"].update({"breaker": allowed, "continuous_factor": "100 %"})
    sheet["evse"] = {"max_current": allowed, "step": allowed}
    sheet["vehicle"].pop("onboard_charger", None)
    event("more current mends it")
    assert reached(read_sheet(sheet, sheet_folder))
