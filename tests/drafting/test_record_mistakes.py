"""Records that must be refused, and what must be warned of: one clear message for each, never a traceback."""

import json
import random

import pytest
from record_cases import EVENINGS, FLAT, RIDGELINE, WHOLE, drafted, record

from chargeplan.errors import ChargeplanError, FileError
from chargeplan.reading import read_document
from chargeplan.tariff.checks import failed_checks

TWO = [[{"rate": 0.1, "max": 300, "unit": "kWh"}, {"rate": 0.2, "unit": "kWh"}]]
ONE = {"energyweekdayschedule": FLAT}


def refusal(data, **options):
    with pytest.raises(FileError) as caught:
        drafted(data, **options)
    return caught.value.mistakes


def tiers(*tiers_of_period, **more):
    return record(energyratestructure=[list(tiers_of_period)], **ONE, **more)


REFUSED = {
    # no energy structure or grid
    "no structure": (record(energyratestructure=None), "energyratestructure: is missing"),
    "empty structure": (record(energyratestructure=[]), "energyratestructure: is empty"),
    "structure is text": (record(energyratestructure="0.1"), "energyratestructure: is no list of periods"),
    "no weekday grid": (record(energyweekdayschedule=None), "energyweekdayschedule: is missing"),
    "no weekend grid": (record(energyweekendschedule=None), "energyweekendschedule: is missing"),
    "period without tiers": (record(energyratestructure=[[], [{"rate": 1}]]), "the period has no tiers"),
    "period is a number": (record(energyratestructure=[1, [{"rate": 1}]]), "stands where a list of mappings"),
    # grid not 12 x 24
    "11 rows": (record(energyweekdayschedule=EVENINGS[:11]), "has 11 rows; 12 are wanted"),
    "13 rows": (record(energyweekdayschedule=[*EVENINGS, EVENINGS[0]]), "has 13 rows"),
    "23 columns": (
        record(energyweekendschedule=[[0] * 24] * 3 + [[0] * 23] + [[0] * 24] * 8),
        "month 4 has 23 columns",
    ),
    "25 columns": (record(energyweekendschedule=[[0] * 25] + [[0] * 24] * 11), "month 1 has 25 columns"),
    "row is a number": (record(energyweekendschedule=[0] + [[0] * 24] * 11), "month 1 `0` is no row"),
    "grid is a mapping": (record(energyweekdayschedule={}), "a mapping is no table"),
    # index outside the structure
    "period 2 of 2": (
        record(energyweekendschedule=[[2] * 24] * 12),
        "names period 2, but only 0 to 1 exist (and 287 more",
    ),
    "negative period": (record(energyweekendschedule=[[-1] + [0] * 23, *FLAT[1:]]), "month 1 hour 0 names no period"),
    "half a period": (record(energyweekendschedule=[[0, 0.5] + [0] * 22, *FLAT[1:]]), "hour 1 names no period: `0.5`"),
    "period is text": (record(energyweekendschedule=[["0"] * 24, *FLAT[1:]]), "`0` is text, not a number (and 23 more"),
    "period is true": (record(energyweekendschedule=[[True] * 24, *FLAT[1:]]), "true is no number"),
    "period is nothing": (record(energyweekendschedule=[[None] * 24, *FLAT[1:]]), "nothing is no number"),
    # tiers
    "no rate": (tiers({"unit": "kWh"}), "energyratestructure[0][0]: the tier has no rate"),
    "rate is nothing": (tiers({"rate": None}), "the tier has no rate"),
    "max falls": (tiers({"rate": 1, "max": 9}, {"rate": 1, "max": 8}, {"rate": 1}), "`max` 8 does not rise above 9"),
    "max stays": (tiers({"rate": 1, "max": 9}, {"rate": 1, "max": 9}, {"rate": 1}), "does not rise"),
    "max is 0": (tiers({"rate": 1, "max": 0}, {"rate": 1}), "`max` 0 does not rise above 0"),
    "max is negative": (tiers({"rate": 1, "max": -5}, {"rate": 1}), "`max` -5 does not rise above 0"),
    "max is missing": (tiers({"rate": 1}, {"rate": 2}), "the tier has no `max`, but another follows"),
    "no limit, then one": (tiers({"rate": 1, "max": 1e38}, {"rate": 2}), "only the last has no limit"),
    "max is text": (tiers({"rate": 1, "max": "300"}, {"rate": 2}), "`300` is text, not a number"),
    "25 tiers": (tiers(*({"rate": 1, "max": n} for n in range(1, 26))), "25 tiers are too many"),
    "limits differ": (
        record(energyratestructure=[TWO[0], [{"rate": 1, "max": 301}, {"rate": 2}]]),
        "tiers end at 301 and 300 in periods of the same month (1), for which no rule is known",
    ),
    "limits per day and per month": (
        record(energyratestructure=[TWO[0], [{"rate": 1, "max": 9, "unit": "kWh daily"}, {"rate": 2}]]),
        "limits of tiers are per day in some months and per month in others",
    ),
    # numbers
    "rate is text": (tiers({"rate": "0.1"}), "[0].rate: `0.1` is text, not a number; write a number"),
    "rate is a list": (tiers({"rate": [1]}), "a list is no number"),
    "rate is true": (tiers({"rate": True}), "true is no number"),
    "adj is text": (tiers({"rate": 1, "adj": "0.1"}), "adj: `0.1` is text"),
    "sell is text": (tiers({"rate": 1, "sell": "x"}), "sell: `x` is text"),
    "rate 1e308": (tiers({"rate": 1e308}), "1e+308 is no number that can be used"),
    "rate of a million": (tiers({"rate": 1e6}), "`1000000.0` is out of range"),
    # units
    "unknown unit of charge": (record(fixedchargeunits="$/week"), "the unit `$/week` is not known; $/day, $/month"),
    "unknown unit of minimum": (
        record(mincharge=5, minchargeunits="EUR"),
        "minchargeunits: the unit `EUR` is not known",
    ),
    "unit of charge is a number": (record(fixedchargeunits=3), "`3` is no text"),
    "unknown unit of tier": (tiers({"rate": 1, "unit": "MWh"}), "the unit `MWh` is not known"),
    "hours of use": (
        tiers({"rate": 1, "max": 3, "unit": "kWh/kW"}, {"rate": 2}),
        "tiers in kWh/kW end at so many hours",
    ),
    "hours of use a day": (tiers({"rate": 1, "max": 3, "unit": "kWh/kW daily"}, {"rate": 2}), "tiers in kWh/kW"),
    "two units in a period": (
        tiers({"rate": 1, "max": 3, "unit": "kWh"}, {"rate": 2, "unit": "kWh daily"}),
        "have limits in kwh and in kwh daily",
    ),
    # old and new names
    "two fixed charges": (
        record(fixedmonthlycharge=9),
        "two different fixed charges, 9 per month here and 12.5 per month",
    ),
    "two minimum charges": (
        record(minmonthlycharge=9, mincharge=8, minchargeunits="$/month"),
        "two different minimum charges, 9 here and 8 per month in `mincharge`",
    ),
    "two rules of export": (record(usenetmetering=True, dgrules="Net Billing Hourly"), "contradicts `dgrules`"),
    "no net metering, and some": (record(usenetmetering=False, dgrules="Net Metering"), "contradicts `dgrules`"),
    # other fields
    "date is text": (record(startdate="spring"), "startdate: `spring` is no date"),
    "date in milliseconds": (record(startdate=1546322400000), "`1546322400000` is no date"),
    "date is half a second": (record(startdate=0.5), "`0.5` is no date"),
    "date of 1970": (record(startdate=0), "the date 1970-01-01, out of range"),
    "fixed charge is text": (record(fixedchargefirstmeter="12"), "fixedchargefirstmeter: `12` is text"),
    "11 fuel adjustments": (record(fueladjustmentsmonthly=[0.1] * 11), "11 values where one for each of the 12 months"),
    "fuel is text": (record(fueladjustmentsmonthly=["0.1"] + [0] * 11), "fueladjustmentsmonthly[0]: `0.1` is text"),
    "demand period": (
        record(flatdemandstructure=[[{"rate": 5}]], flatdemandmonths=[1] * 12),
        "flatdemandmonths[0]: month 1 names period 1, but only period 0 exists (and 11 more",
    ),
    "demand without rate": (
        record(flatdemandstructure=[[{"adj": 5}]], flatdemandmonths=[0] * 12),
        "flatdemandstructure[0][0]: the tier has no rate",
    ),
    "demand grid": (
        record(demandratestructure=[[{"rate": 5}]], demandweekdayschedule=FLAT, demandweekendschedule=FLAT[:3]),
        "demandweekendschedule: has 3 rows",
    ),
    "name is a number": (record(name=5), "name: `5` is no text"),
    "48 periods in a month": (
        record(
            energyratestructure=[[{"rate": n}] for n in range(48)],
            energyweekdayschedule=[[*range(24)]] * 12,
            energyweekendschedule=[[*range(24, 48)]] * 12,
        ),
        "a month has 48 periods; a rate sheet can have 24",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_must_refuse(name):
    data, message = REFUSED[name]
    (mistake,) = refusal(data)
    assert message in str(mistake)
    assert str(mistake).isprintable()


def test_all_refusals_at_once_each_at_its_place():
    text = json.dumps({"items": [record(energyratestructure=[[{"unit": "kWh"}], [{"rate": "1"}]], name=5)]}, indent=1)
    found = [str(mistake) for mistake in refusal(text.encode())]
    lines = text.splitlines()
    assert [message.split(": ")[1] for message in found] == [
        "items[0].name",
        "items[0].energyratestructure[0][0]",
        "items[0].energyratestructure[1][0].rate",
    ]
    for message, what in zip(found, ('"name"', "{", '"rate"'), strict=True):
        _, line, column, *_ = message.split(":")
        assert lines[int(line) - 1][int(column) - 1 :].startswith(what)


WARNED = {
    "no first day": (record(startdate=None), ("effective",), "does not say from when"),
    "last day before the first": (record(enddate=1500000000), ("effective",), "2017-07-14, lies before its first"),
    "not approved": (record(approved=False), (), "was not approved"),
    "approval is not stated": (record(approved=None), (), "does not say that it was approved"),
    "tiers without unit": (
        tiers({"rate": 1, "max": 300}, {"rate": 2}),
        ("prices",),
        "limits of tiers have no unit and are taken as kWh per month",
    ),
    "sell and net metering": (
        tiers({"rate": 1, "sell": 0.5}, dgrules="Net Metering"),
        ("export",),
        "the prices are taken",
    ),
    "coincident demand": (record(coincidentratestructure=[[{"rate": 0.79}]]), (), "utility's own peak"),
    "reactive power": (record(demandreactivepowercharge=0.3), (), "reactive power"),
    "demand in hp": (
        record(flatdemandstructure=[[{"rate": 5}]], flatdemandmonths=[0] * 12, flatdemandunit="hp"),
        ("demand",),
        "a demand charge per hp is not billed",
    ),
    "demand without hours": (record(demandratestructure=[[{"rate": 5}]]), ("demand",), "does not say which hours"),
    "ratchet by months": (
        record(
            flatdemandstructure=[[{"rate": 5}]], flatdemandmonths=[0] * 12, demandratchetpercentage=[0] * 6 + [80] * 6
        ),
        ("demand",),
        "differs by months",
    ),
    "delivery only": (record(servicetype="Delivery"), (), "its service is `Delivery`"),
    "service not stated": (record(servicetype=None), (), "does not say whether delivery and supply"),
    "daily limit of a month": (
        tiers({"rate": 1, "max": 963, "unit": "kWh daily"}, {"rate": 2}),
        ("prices",),
        "963 kWh a day; a month may be meant",
    ),
    "unused period": (record(energyweekdayschedule=FLAT), ("prices",), "no hour is in period 1"),
    "comment on an adjustment": (
        record(basicinformationcomments="Plus the Power Cost Adjustment."),
        ("notes",),
        "may speak of amounts that are not in the prices",
    ),
    "amounts as text": (record(energyattrs=[{"Discount": "$-0.1"}]), ("notes",), "such as Discount: $-0.1"),
    "charge without unit": (record(fixedchargeunits=None), ("fixed",), "$/month is taken"),
    "fuel adjustments": (record(fueladjustmentsmonthly=[0.01] * 12), ("adders",), "come on top"),
    "last tier has an end": (tiers({"rate": 1, "max": 3000}), ("prices",), "costs the same"),
    "fewer tiers in one period": (
        record(energyratestructure=[TWO[0], [{"rate": 0.3, "unit": "kWh"}]]),
        ("prices",),
        "the last tier of the shorter one goes on",
    ),
    "negative price": (tiers({"rate": 0.1, "adj": -0.2}), (), "a price of -0.1 is less than nothing"),
    "unknown rule of export": (record(dgrules="Feed-in"), ("export",), "`feed-in`, is not known"),
    "net billing without a price": (record(dgrules="Net Billing Hourly"), ("export",), "nothing is credited"),
    "some prices of export": (
        record(energyratestructure=[[{"rate": 1, "sell": 0.5}], [{"rate": 2}]]),
        ("export",),
        "for some periods or tiers only",
    ),
    "net metering": (record(dgrules="Net Metering"), ("net_metering",), "what is left is lost"),
    "minimum": (record(mincharge=20, minchargeunits="$/month"), ("minimum",), "the whole bill is topped up"),
    "two minimums": (
        record(minmonthlycharge=5, annualmincharge=90),
        ("minimum",),
        "5 per month, beside the one of 90 per year",
    ),
    "further meters": (record(fixedchargeeaaddl=3), (), "each further meter"),
    "unknown field": (record(specialcharge=3), (), "fields that are not known: specialcharge"),
    "no holidays": (record(), (), "no day is a holiday"),
    "zone": (record(), ("timezone",), "the zone was given"),
    "hours": (record(), ("periods",), "hours begin and end on the hour"),
    "taxes": (record(), (), "taxes"),
    "another country": (record(country="MEX"), ("currency",), "amounts are taken as USD"),
}


@pytest.mark.parametrize("name", WARNED)
def test_must_warn(name):
    data, place, text = WARNED[name]
    draft = drafted(data)
    (note,) = [note for note in draft.notes if text in note.text and note.place == place]
    comment = " ".join(line.lstrip("# -") for line in draft.text.splitlines() if line.lstrip().startswith("#"))
    assert str(note) in comment
    assert failed_checks(draft.tariff, read_document("a.yaml", text=draft.text)) == []


def test_what_is_certain_is_not_noted():
    calm = record(energyweekdayschedule=FLAT, energyratestructure=RIDGELINE["energyratestructure"][:1])
    assert [str(note) for note in drafted(calm).notes] == [
        "left out: taxes, city fees and percentages, which no record holds"
    ]


NASTY = [
    *(None, True, "", "x", "\x1b[2J\n", [], {}, [[]], 0, -1, 0.5, 1e9, 1e38, 1e300, -1e300, "1", [None], {"a": 1}),
    *("kWh", "$/day", "Net Metering", 10**40, [[{"rate": 1}]], [[0] * 24] * 12, "#: {x}\u2028"),
]


def spoiled(data, rng):
    """Put something else at one or two places of a record, or take them out."""
    data = json.loads(json.dumps(data))
    for _ in range(rng.choice([1, 1, 2])):
        owner, key = data, rng.choice(list(data))
        while isinstance(owner[key], list | dict) and owner[key] and rng.random() < 0.75:
            owner = owner[key]
            key = rng.choice(list(owner)) if isinstance(owner, dict) else rng.randrange(len(owner))
        change = rng.random()
        if change < 0.15:
            del owner[key]
        elif change < 0.25 and isinstance(owner, list):
            owner.append(owner[key])
        else:
            owner[key] = rng.choice(NASTY)
        if not data:
            return {}
    return data


@pytest.mark.parametrize("seed", range(80))
def test_spoiled_records_give_messages_or_a_sheet_that_holds(seed):
    rng = random.Random(seed)
    data = spoiled(WHOLE, rng)
    try:
        draft = drafted(data)
    except ChargeplanError as error:
        for mistake in getattr(error, "mistakes", ()):
            assert str(mistake).isprintable()
            assert len(str(mistake)) < 500
        return
    assert failed_checks(draft.tariff, read_document("a.yaml", text=draft.text)) == []


@pytest.mark.parametrize("seed", range(60))
def test_spoiled_text_is_refused_or_read(seed):
    rng = random.Random(1000 + seed)
    text = bytearray(json.dumps({"items": [WHOLE]}, indent=1).encode())
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(text))
        text[at : at + rng.choice([0, 1, 1, 5])] = rng.choice(
            [b"", b"{", b"]", b'"', b",", b"9", b"\xc3", b"\\", b"-", b"e9"]
        )
    try:
        draft = drafted(bytes(text))
    except FileError as error:
        lines = bytes(text).decode("utf-8", "replace").split("\n")
        for mistake in error.mistakes:
            assert 1 <= mistake.line <= len(lines)
            assert 1 <= mistake.column <= len(lines[mistake.line - 1]) + 1
        return
    assert failed_checks(draft.tariff, read_document("a.yaml", text=draft.text)) == []
