"""Studies whose reports are looked at: a short one, one with odd names, one with many households."""

from dataclasses import replace
from functools import cache

from chargeplan.output.study_report import study_report
from chargeplan.study.file import read_study
from chargeplan.study.run import run_study

#: Names that would break a table, a page or a picture if they were not seen to.
ODD = {
    "tariff": '$x_1$ & "two" <b>periods</b>',
    "equipment": "東京の非常に長い名前の二百ボルトのコンセントと長い配線 & <script>alert(1)</script>",
    "driving": "%s {0} \\n $\\frac{1}{2}$ --> ]]> é",
}
SHORT = """
name: Three weeks
from: 2026-01-01
to: 2026-01-21
drawn_years: 2
households: demo
house: {per_day: 20 kWh}
tariffs: [flat, two-period]
equipment:
  small: {circuit: {breaker: 15 A, volts: 120 V}, evse: {max_current: 12 A}, lifetime: 10 years, replacement: 100}
  large:
    circuit: {breaker: 50 A, volts: 240 V}
    evse: {max_current: 40 A}
    purchase: 300
    labor: 100
    rebates: {utility: {share: 50 %, at_most: 120}}
    upkeep: 5 per year
driving: {usual: {spread: 40 %}, far: {spread: 40 %, scale: 250 %}}
today: {tariff: flat, equipment: small}
panel: {breaker: 100 A, volts: 240 V, other_load: 45 A, basis: measured}
road: {price: 0.5}
public: {fast: {price: 0.6, dc_power: 50 kW}}
gasoline: {price: 3.60 per gal, consumption: 30 mi/gal}
money: {reliability: 95 %}
"""


def odd_text():
    """The short study under odd names."""
    import json

    text = SHORT.replace(
        "tariffs: [flat, two-period]", f"tariffs: {{flat: flat, {json.dumps(ODD['tariff'])}: two-period}}"
    )
    text = text.replace("  large:\n", f"  {json.dumps(ODD['equipment'])}:\n").replace(
        "far:", f"{json.dumps(ODD['driving'])}:"
    )
    return text.replace("name: Three weeks", f"name: {json.dumps('Weeks <i>&amp;</i> ' + 'long ' * 30)}")


@cache
def worked_out(text=SHORT):
    """The file, its result and its report."""
    asked = read_study(text)
    result = run_study(asked.study, workers=1)
    return asked, result, study_report(asked, result.frame())


@cache
def many():
    """A report on so many households that they are counted."""
    asked = read_study(SHORT.replace("drawn_years: 2", "drawn_years: 1"))
    home = asked.study.households["demo"]
    homes = {f"home {n}": replace(home, habits=replace(home.habits, target=0.5 + 0.04 * n)) for n in range(10)}
    house = dict.fromkeys(homes, asked.study.house["demo"])
    asked = replace(asked, study=replace(asked.study, households=homes, house=house))
    result = run_study(asked.study, workers=1)
    return asked, result, study_report(asked, result.frame())
