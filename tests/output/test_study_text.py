"""The text of a study: its numbers are those of the rows, and it fits a mail whatever the names."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from study_cases import ODD, SHORT, many, odd_text, worked_out
from wcwidth import wcswidth

from chargeplan.charging import Circuit, Evse
from chargeplan.output.study_counts import equipment_counts, rate_counts
from chargeplan.output.study_report import paid_by_year, paid_over_time, study_report
from chargeplan.output.study_text import study_text
from chargeplan.output.study_words import room_sentences, short_ways, stop_sentence
from chargeplan.output.text_table import columns, text_table
from chargeplan.study.equipment import CAUTION, Equipment
from chargeplan.study.file import read_study
from chargeplan.study.run import run_study
from chargeplan.study.spending import Terms


def joined(text):
    """Text without its line breaks."""
    return " ".join(text.split())


def table(text, heading, number=0):
    """Rows of the table that follows a heading, split at wide gaps."""
    part = [part for part in re.split(r"\n\n", text) if part.startswith(heading)][number]
    return [re.split(r"\s{2,}", line.strip()) for line in part.split("\n")[2:]]


def test_headline_says_what_the_rows_say():
    """The cheapest rate and what it saves, reckoned here from the rows alone."""
    _, result, report = worked_out()
    rows = result.frame().query("strategy == 'optimal' and equipment == 'small'")
    totals = (rows.bill + rows.stops_cost + rows.road_cost).groupby([rows.driving, rows.tariff]).mean().unstack()
    assert (totals["two-period"] < totals["flat"]).all()
    saved = sorted(totals["flat"] - totals["two-period"])
    text = joined(study_text(report))
    said = f"two-period is the cheapest rate: it saves {saved[0]:.2f} to {saved[1]:.2f} USD in 21 days against flat"
    assert said in text
    assert text.index("Rate ") < text.index("demo, usual")
    years = rows[rows.tariff == "flat"].groupby("driving")[["missed", "departures"]].sum()
    met = 1 - years.missed / years.departures
    assert met["usual"] > 0.95 > met["far"]
    usual, far = (f"{math.floor(met[name] * 10_000) / 100:g} %" for name in ("usual", "far"))
    is_enough = f"is enough for usual ({usual} of the departures met), but not for far ({far}); 95 % are wanted"
    assert f"small, the equipment of today, {is_enough}" in text


def test_tables_say_what_the_rows_say():
    """House, car, total, at once; cost, more than the plan and spread of the ways; what equipment does."""
    _, result, report = worked_out()
    rows = result.frame()
    text = study_text(report)
    today = rows[(rows.equipment == "small") & (rows.driving == "usual")]
    best = today[today.strategy == "optimal"].groupby("tariff").mean(numeric_only=True)
    once = today[today.strategy == "at once"].groupby("tariff").mean(numeric_only=True)
    for name, *cells in table(text, "Rates, with")[1:3]:
        tariff = name.split()[1]
        house, car, total, saves, at_once = map(float, cells)
        assert house == pytest.approx(best.house_bill[tariff], abs=0.005)
        assert car == pytest.approx(best.car_cost[tariff], abs=0.005)
        assert total == pytest.approx(house + car, abs=0.011)
        assert at_once == pytest.approx(once.house_bill[tariff] + once.car_cost[tariff], abs=0.005)
        assert saves == pytest.approx(
            best.bill["flat"]
            - best.bill[tariff]
            + (best.car_cost - best.home_cost)["flat"]
            - (best.car_cost - best.home_cost)[tariff],
            abs=0.005,
        )
    flat = today[today.tariff == "flat"]
    costs = flat.groupby("strategy").car_cost
    ways = {name: cells for name, *cells in table(text, "Ways to charge")[1:] if len(cells) == 5}
    miles = flat.distance_km / 1.609344
    for way in ("optimal", "timer", "at once"):
        cost, per_100, more, spread, short = ways[way]
        here = flat[flat.strategy == way]
        assert float(cost) == pytest.approx(costs.mean()[way], abs=0.005)
        assert float(per_100) == pytest.approx((100 * here.car_cost / miles[here.index]).mean(), abs=0.005)
        assert float(more) == pytest.approx(costs.mean()[way] - costs.mean()["optimal"], abs=0.005)
        assert [float(x) for x in spread.split("-")] == pytest.approx([costs.min()[way], costs.max()[way]], abs=0.005)
        assert float(short) == pytest.approx(here.missed.mean(), abs=0.05)
    # 3.60 for 3.785411784 l, 30 miles on them.
    assert float(ways["gasoline"][1]) == pytest.approx(100 / 30 * 3.60, abs=0.005)
    home = {name: cells for name, *cells in table(text, "Charging at home")[1:]}
    assert home["small"][:2] == ["12", "1.44"]
    assert home["large"][:2] == ["32.1", "7.7"]


def test_the_paid_back_point_is_where_the_curves_meet():
    """What has been paid with equipment and with that of today is the same after the payback."""
    _, _, report = worked_out()
    found = 0
    for life in report.lives:
        for one in life.equipment:
            terms = report.asked.question.terms
            today = paid_by_year(next(x for x in one.choices if x.name == one.today), terms)
            for choice in one.choices:
                if choice.name != one.today and 0 < choice.payback_years < math.inf:
                    years = np.arange(terms.years + 1)
                    paid = [
                        np.interp(choice.payback_years, years, curve) for curve in (today, paid_by_year(choice, terms))
                    ]
                    assert paid[0] == pytest.approx(paid[1], rel=1e-9)
                    found += 1
    # A study of three weeks saves too little for that; a row whose every year pays more is put beside it.
    one = report.lives[1].equipment[0]
    dear = [replace(choice, yearly=choice.yearly + (500 if choice.name == one.today else 0)) for choice in one.choices]
    now, other = (
        paid_by_year(next(c for c in dear if (c.name == one.today) == is_now), report.asked.question.terms)
        for is_now in (True, False)
    )
    assert now[0] == 0
    assert other[0] == 280
    assert now[-1] > other[-1]


def test_what_must_be_said_is_said():
    """The caution, the panel, places to charge, unserved drives, and what stands behind the numbers."""
    _, _, report = worked_out()
    text = joined(study_text(report))
    assert CAUTION[1:] in text
    assert "100 A at 240 V, with 45 A of other load at most (measured): 35 A may flow into cars for hours" in text
    assert "large: does not fit as it is; it may draw 40 A for hours, but 35 A are left" in text
    assert "workplace is worth " in text
    assert "The load of the house stays where it is; only the car waits." in text
    assert "the study has 21 days, so what it calls a year is not one; leave `to` out for a year (warning)" in text
    assert "What equipment costs over years takes 17.4 times what these 21 days cost for a year" in text
    assert "whole" not in text, "flat and two-period have no tiers"


def test_no_house_and_whole_bills_are_said():
    """The rate with tiers and a charge for power is named only where its years were planned by prices."""
    short = "to: 2026-01-07, households: demo, tariffs: [flat, whole-bill]"
    asked = read_study(f"{{name: W, from: 2026-01-01, {short}}}")
    rows = run_study(asked.study, workers=1).frame()
    for method, by_price in (("merit order", ("whole-bill",)), ("whole bill", ())):
        report = study_report(asked, rows.assign(method=method))
        text = joined(study_text(report))
        assert report.by_price == by_price
        assert ("Under whole-bill what a kWh costs depends on the whole bill" in text) == bool(by_price)
        assert "What the house uses is not known, so its bills hold the car alone." in text
        assert "Equipment " not in text.split("demo, usual")[0], "there is nothing to choose"
        assert "The equipment of today is enough" in text


def test_what_a_place_is_worth_adds_up_as_it_is_shown():
    """Amounts whose third decimals would make the difference look a cent off."""
    _, _, report = worked_out()
    stop = replace(report.lives[0].stops[0], with_it=999.2064, without_it=1098.4637)
    said = stop_sentence(report, stop, report.lives[0].driving)
    assert "is worth 99.25 USD" in said
    assert "without it the car costs 1098.46, with it 999.21" in said


def test_a_way_is_cheaper_for_being_short_only_where_one_is():
    _, _, report = worked_out()
    life = report.lives[0]
    plan, timer, *_ = life.ways

    def said(missed, cost):
        way = replace(timer, missed=plan.missed + missed, cost=plan.cost + cost)
        return short_ways(replace(life, ways=(plan, way)))

    assert said(3, -2.0) == ["Timer costs less than the plan, since it charges less: more departures are short."]
    assert said(3, 2.0) == said(0, -2.0) == said(3, 0.001) == []


def test_a_panel_without_room_for_a_whole_circuit_does_not_contradict_itself():
    """100 A with 70 A measured leave 10 A: no standard circuit, but an EVSE that is set lower; with 75 A nothing."""
    for load, left, words, fits in (
        (
            "70 A",
            10,
            "less than a circuit of 15 A gives to a car, so an EVSE has to be set lower",
            "set to 10 A it fits",
        ),
        ("75 A", 5, "no room for a car circuit", "no room even for its lowest setting of 6 A"),
    ):
        asked = read_study(SHORT.replace("other_load: 45 A", f"other_load: {load}"))
        report = replace(
            worked_out()[2], asked=asked, room=asked.panel.room(list(filter(None, asked.study.equipment.values())))
        )
        head, *others = room_sentences(report, report.room)
        assert f"{left} A may flow into cars for hours; {words}." in head
        assert any(fits in text for text in others)
        assert "no room" not in head or left < 6


def test_an_added_up_ledger_has_its_replacements():
    """280 at the start, 90 a year and 100 more after 2.5 and 5 years; a horizon of 6 years buys nothing later."""
    box = Equipment("box", Circuit(20, volts=240), Evse(16), purchase=280, lifetime_years=2.5, replacement=100)
    choice = replace(worked_out()[2].lives[0].equipment[0].choices[0], equipment=box, outlay=280, yearly=90)
    paid = paid_by_year(choice, Terms(6, 0.05))
    assert paid.tolist() == pytest.approx([280, 370, 460, 650, 740, 930, 1020])
    times, steps = paid_over_time(choice, Terms(6, 0.05))
    assert times.tolist() == [0, 1, 2, 2.5, 2.5, 3, 4, 5, 5, 6]
    assert steps[[3, 4, 7, 8]].tolist() == pytest.approx([505, 605, 830, 930])


def test_one_rate_is_no_ranking():
    asked = read_study("{name: O, from: 2026-01-01, to: 2026-01-07, households: demo, tariffs: flat}")
    text = joined(study_text(study_report(asked, run_study(asked.study, workers=1).frame())))
    assert "flat is the only rate: the car costs " in text
    assert "stays the cheapest" not in text
    assert "to become the cheapest" not in text


def test_lines_fit_and_are_plain():
    """80 columns, ASCII but for the user's own names, no spaces at ends."""
    for report in (worked_out()[2], many()[2]):
        text = study_text(report)
        assert text.isascii()
        assert max(map(len, text.splitlines())) <= 80
        assert not [line for line in text.splitlines() if line != line.rstrip()]


def test_odd_names_keep_tables_aligned():
    """Names that are long, wide or full of signs wrap; the columns of numbers stand where their header ends."""
    _, _, report = worked_out(odd_text())
    text = study_text(report)
    assert max(wcswidth(line) for line in text.splitlines()) <= 80
    for name in ODD.values():
        assert name.replace(" ", "")[:18] in "".join(text.split())
    lines = text.splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith("Equipment over"))
    end = next(n for n, line in enumerate(lines[start:], start) if line.startswith("Cheapest over"))
    rows = [line for line in lines[start + 3 : end] if re.search(r"\d\.\d\d", line)]
    assert len(rows) == 2
    ends = {wcswidth(line[: line.index(".") + 3]) for line in rows}
    assert len(ends) == 1, "outlays end in one column"


def test_many_are_counted():
    """More than a dozen are counted, not listed; the counts are those of a plain recount over the rows."""
    _, result, report = many()
    text = study_text(report)
    rows = result.frame()
    best = rows[(rows.strategy == "optimal") & (rows.equipment == "small")]
    totals = (best.bill + best.stops_cost + best.road_cost).groupby([best.household, best.driving, best.tariff]).mean()
    lowest = totals.groupby(level=[0, 1]).transform("min")
    cheapest = (totals < lowest + 0.005).groupby(level=2).sum()
    assert {one.tariff: one.cheapest for one in rate_counts(report)} == cheapest.to_dict()
    for one in rate_counts(report):
        assert one.total == pytest.approx(totals.xs(one.tariff, level=2).mean())
    counts = equipment_counts(report)
    assert sum(one.least for one in counts) <= 20
    assert "Left out     break-evens and what stops are worth, for 20 households" in text
    assert "home 3, usual:" not in text
    assert table(text, "Rates, over 20")[1][1] == f"{cheapest.max()}"


def test_break_even_is_said():
    """A rate with a cheap night and a fixed charge against a flat one: they meet, and the sentence says where."""
    text = SHORT.replace("tariffs: [flat, two-period]", "tariffs: [night-owl, summer-peak]").replace(
        "tariff: flat", "tariff: night-owl"
    )
    _, _, report = worked_out(text)
    said = joined(study_text(report))
    for life in report.lives:
        for number, at in enumerate(life.meetings):
            miles = f"{at.distance_km / 1.609344:,.0f} mi"
            assert (f"up to {miles} {at.below}" if number else f"Below {miles} in 21 days {at.below} is") in said
        assert not life.meetings or f"above that {life.meetings[-1].above}." in said
    assert any(life.meetings for life in report.lives) or "no other rate was found" in said


def test_wide_signs_are_measured_as_terminals_do():
    """Against the wcwidth library, which follows Unicode's tables."""
    for text in ("abc", "Zürich", "東京 24", "e\u0301te\u0301", "한국어", "ｆｕｌｌ"):
        assert columns(text) == wcswidth(text), text


def test_wide_cells_end_where_their_column_does():
    lines = text_table(["name", "place"], [["a", "東京"], ["b", "x"], ["c", "é" * 6]])
    assert {wcswidth(line) for line in lines[1:]} == {max(map(wcswidth, lines))}


def test_a_table_never_breaks_its_numbers():
    rows = [["a very long name of some equipment " * 4, *["123456789.00"] * 5]]
    lines = text_table(["name", *["some\nheader"] * 5], rows)
    assert max(map(len, lines)) <= 80 + 2
    assert lines[2].count("123456789.00") == 5
