"""Records of the open U.S. Utility Rate Database (CC0), kept in the folder of reference data: each is drafted, or
refused, and the sheet is held hour by hour to the record.

The sums of a year, the dates and the reasons for refusing are those of ``rates/INDEX.yaml``, worked out apart from
this library; the rule there: Monday to Friday is the weekday grid, no holidays, no change of clocks, first tier.
"""

import json

import numpy as np
import pytest
import yaml
from record_cases import (
    FOLDER,
    HAS_REFERENCE,
    NO_REFERENCE,
    assert_line,
    cells_of_year,
    content,
    drafted,
    numbers_of_year,
    raw_of,
)

from chargeplan.drafting.draft import draft_sheet
from chargeplan.drafting.envelope import raw_records
from chargeplan.drafting.record import read_record
from chargeplan.errors import FileError
from chargeplan.reading import read_document
from chargeplan.tariff.checks import failed_checks
from chargeplan.tariff.lint import warnings_of

pytestmark = pytest.mark.skipif(not HAS_REFERENCE, reason=NO_REFERENCE)
INDEX = yaml.safe_load((FOLDER / "INDEX.yaml").read_text(encoding="utf-8"))["records"] if HAS_REFERENCE else []
FILES = [entry["file"] for entry in INDEX]
#: Why records are refused: by what the index says of them, what we say.
REASONS = {
    "period 0: first tier has no rate": "energyratestructure[0][0]: the tier has no rate",
    "energyweekdayschedule: month 1 hour 0 names period 1, but only 0..0 exist": (
        "month 1 hour 0 names period 1, but only period 0 exists"
    ),
    "energyweekdayschedule is missing": "energyweekdayschedule: is missing",
    "unit kWh/kW (hours-use tiers)": "tiers in kWh/kW end at so many hours of the highest demand",
    "8760 price vector (extension field)": "there is no energy structure",
}


def reason_of(entry):
    said = [entry["check"].get("rejected"), *entry["features"]]
    return next((REASONS[word] for word in said if word in REASONS), None)


REFUSED = [entry for entry in INDEX if reason_of(entry)]
GOOD_ENTRIES = [entry for entry in INDEX if not reason_of(entry)]
GOOD = [entry["file"] for entry in GOOD_ENTRIES]


def draft_of(file):
    return draft_sheet(FOLDER / file, timezone="UTC")


def sum_of_year(sheet, year):
    """The sum of the hourly prices of a year; the sheet's dates are taken off, since the sums are of any year."""
    return float(sheet.versions[0].lines[0].cases[0].price[0][cells_of_year(sheet.versions[0], 0, year)].sum())


def test_every_record_is_looked_at():
    kept = {str(path.relative_to(FOLDER)) for path in FOLDER.rglob("*.json")}
    assert kept == set(FILES)
    assert all(reason_of(entry) for entry in INDEX if "rejected" in entry["check"])
    assert len({reason_of(entry) for entry in REFUSED}) == len(REFUSED) == len(REASONS)


@pytest.mark.parametrize("entry", REFUSED, ids=lambda entry: entry["file"])
def test_refused(entry):
    with pytest.raises(FileError) as caught:
        draft_of(entry["file"])
    assert reason_of(entry) in str(caught.value)
    assert all(mistake.remedy for mistake in caught.value.mistakes)


@pytest.mark.parametrize("entry", GOOD_ENTRIES, ids=lambda entry: entry["file"])
def test_sums_of_the_index(entry):
    sheet = draft_of(entry["file"]).tariff
    for key, wanted in entry["check"].items():
        if key.startswith("sum_"):
            assert sum_of_year(sheet, int(key[4:])) == pytest.approx(wanted, abs=1e-5)
    prices = sheet.versions[0].lines[0].cases[0].price[0][cells_of_year(sheet.versions[0], 0, 2023)]
    assert prices.size == entry["check"]["hours"]
    assert prices.min() == pytest.approx(entry["check"]["min"], abs=6e-9)  # as printed
    assert prices.max() == pytest.approx(entry["check"]["max"], abs=6e-9)


@pytest.mark.parametrize("entry", GOOD_ENTRIES, ids=lambda entry: entry["file"])
def test_dates_and_names_of_the_index(entry):
    sheet = draft_of(entry["file"]).tariff.sheet
    start, end = entry["effective_from"], entry["effective_to"]
    assert str(sheet.effective) == str(start)
    if end is not None and end < start:
        end = None  # a last day before the first is no last day
    assert str(sheet.until) == str(end)
    assert (entry["label"] or "without a label") in sheet.source
    for key in ("utility", "rate_name"):
        assert (entry[key] or "") in sheet.name


def test_hours_of_use_are_refused_but_their_first_prices_can_be_read():
    """The index gives the sum of the first tier of a record whose tiers end at hours of use: 388.416."""
    file = next(entry["file"] for entry in INDEX if "unit kWh/kW (hours-use tiers)" in entry["features"])
    raw = raw_of(FOLDER / file)
    raw["energyratestructure"] = [[{"rate": period[0]["rate"]}] for period in raw["energyratestructure"]]
    assert sum_of_year(drafted(raw).tariff, 2023) == pytest.approx(388.416, abs=1e-9)


@pytest.mark.parametrize("file", GOOD)
def test_the_sheet_says_what_the_record_says(file):
    """Hour by hour: the 12 by 24 tables, tiers, what is sold, demand, fixed and minimum charges."""
    raw, draft = raw_of(FOLDER / file), draft_of(file)
    rates = draft.tariff.versions[0]
    energy = rates.lines[0]
    numbers = numbers_of_year(raw["energyweekdayschedule"], raw["energyweekendschedule"], 2023)
    cells = cells_of_year(rates, 0, 2023)
    assert_line(energy.cases[0].price, energy.cases[0].limits, cells, numbers, raw["energyratestructure"])
    daily = any(t.get("unit") == "kWh daily" and "max" in t for p in raw["energyratestructure"] for t in p)
    assert energy.per == ("day" if daily else "month")
    sells = [tier.get("sell") for period in raw["energyratestructure"] for tier in period]
    if any(sells):
        sold = rates.sold[0].cases[0]
        structure = raw["energyratestructure"]
        if sold.price.shape[0] == 1:
            structure = [period[:1] for period in structure]
        assert_line(sold.price, sold.limits, cells, numbers, structure, ("sell",))
    else:
        assert rates.sold == ()
        assert (rates.net is not None) == (raw.get("dgrules") == "Net Metering")
    assert_charges(raw, rates)
    assert_demand(raw, rates)


def assert_charges(raw, rates):
    fixed = raw.get("fixedmonthlycharge") or raw.get("fixedchargefirstmeter")
    assert [(line.charge.amount, line.charge.per) for line in rates.fixed] == (
        [(fixed, raw.get("fixedchargeunits", "$/month").removeprefix("$/"))] if fixed else []
    )
    least = raw.get("mincharge") or raw.get("minmonthlycharge")
    unit = raw.get("minchargeunits", "$/month").removeprefix("$/")
    found = rates.minimum and (rates.minimum.charge.amount, rates.minimum.charge.per)
    assert found == ((least, unit) if least else None)


def assert_demand(raw, rates):
    wanted = {}
    if any(tier["rate"] for period in raw.get("flatdemandstructure", []) for tier in period):
        rows = [[number] * 24 for number in raw["flatdemandmonths"]]
        wanted["demand"] = raw["flatdemandstructure"], numbers_of_year(rows, rows, 2023)
    if any(tier["rate"] for period in raw.get("demandratestructure", []) for tier in period):
        grids = raw["demandweekdayschedule"], raw["demandweekendschedule"]
        wanted["time-of-use demand"] = raw["demandratestructure"], numbers_of_year(*grids, 2023)
    assert {line.name for line in rates.demand} == set(wanted)
    for line in rates.demand:
        structure, numbers = wanted[line.name]
        assert_line(line.price, line.limits, cells_of_year(rates, line.table, 2023), numbers, structure)


@pytest.mark.parametrize("file", GOOD)
@pytest.mark.parametrize("options", [{}, {"holidays": "US"}], ids=["no holidays", "federal holidays"])
def test_the_sheet_passes_its_own_checks(file, options):
    draft = draft_sheet(FOLDER / file, timezone="America/Chicago", **options)
    document = read_document("sheet.yaml", text=draft.text)
    assert failed_checks(draft.tariff, document) == []
    assert warnings_of(draft.tariff, document) == []
    assert draft.tariff.sheet.checks
    for note in draft.notes:
        assert note.kind in draft.text
        assert note.text[:30] in draft.text.replace("\n# ", " ").replace("\n#   ", " ").replace("  ", " ")


@pytest.mark.parametrize("file", GOOD)
def test_the_same_record_in_other_wrappings(file):
    raw = raw_of(FOLDER / file)
    text = draft_of(file).text
    for wrapped in (raw, [raw], {"items": [raw]}, json.dumps({"items": [raw]}), {"site": {"tariff": {"record": raw}}}):
        assert drafted(content(wrapped)).text == text


def test_long_comments_do_not_make_the_sheet_large():
    for file in GOOD:
        assert len(draft_of(file).text) < 8000, file


def test_hours_of_the_grid_by_number():
    """Each hour of a year is in the period of the sheet that stands for its number."""
    from chargeplan.drafting.energy_sheet import words_of
    from chargeplan.drafting.terms import draft_terms

    for file in GOOD:
        record = read_record(raw_records((FOLDER / file).read_bytes())[0])
        words = words_of(record.hours, record.energy, record, draft_terms("UTC"))
        raw = raw_of(FOLDER / file)
        numbers = numbers_of_year(raw["energyweekdayschedule"], raw["energyweekendschedule"], 2023)
        rates = draft_of(file).tariff.versions[0]
        seasons, periods = rates.tables[0].seasons, rates.tables[0].periods
        season, period = cells_of_year(rates, 0, 2023)
        found = [words.numbers[seasons[s], periods[p]] for s, p in zip(season, period, strict=True)]
        np.testing.assert_array_equal(found, numbers)
