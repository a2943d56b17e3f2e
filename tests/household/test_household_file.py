"""Household files: every example loads, and every kind of mistake is named with its place and a remedy that helps."""

import json

import pytest
from household_cases import EXAMPLES, changed, mistakes_of, most_amperes, number, text_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.errors import FileError
from chargeplan.household import Household, load_household, read_household
from chargeplan.household.household import example_folder, examples
from chargeplan.reading import read_document

LEAVE = "{weekdays: 07:15, Sat: 09:30, Sun: stays home}"
TAPER = "{0 %: 11 kW, 85 %: 11 kW, 100 %: 3 kW}"
STOP = "    circuit: {breaker: 20 A, volts: 120 V}\n    evse: {max_current: 16 A}\n"


# ------------------------------------------------------------------------------------------------ what loads


def test_the_examples_are_those_that_are_tested():
    """The names `load_household` knows are the names these tests go through."""
    assert examples() == EXAMPLES


@pytest.mark.parametrize(
    ("name", "limit_a", "by"),
    [
        # NFPA 70 (2023) 210.20(A): 80 % of 50 A is 40 A and of 15 A is 12 A, so the 32 A EVSE and the 15 A breaker
        # decide; 11 kW on three phases of 230 V are 15.94 A on each, by P = 3 V I.
        ("demo", 32.0, "EVSE"),
        ("plain-outlet", 12.0, "circuit"),
        ("three-phase", 11000 / (3 * 230), "onboard charger"),
    ],
)
def test_every_example_loads(name, limit_a, by):
    """The examples load by name and say what limits them, by hand arithmetic."""
    home = load_household(name)
    assert home.limit.current_a == pytest.approx(limit_a)
    assert home.limit.by == by
    assert most_amperes(read_document("x", text=text_of(name)).data) == pytest.approx(limit_a)


@pytest.mark.parametrize("name", EXAMPLES)
def test_bytes_text_and_file_are_one(name, tmp_path):
    """What is read from a path, from text, from bytes and with a byte order mark is the same household."""
    text = text_of(name)
    path = tmp_path / "home.yaml"
    path.write_text(text, encoding="utf-8")
    first = load_household(path)
    for written in (text, text.encode(), b"\xef\xbb\xbf" + text.encode(), text.replace("\n", "\r\n")):
        other = read_household(written, "home.yaml")
        assert (other.name, other.timezone, other.habits, other.limit) == (
            *(first.name, first.timezone, first.habits),
            first.limit,
        )


def test_a_file_goes_before_an_example_of_its_name(tmp_path, monkeypatch):
    """A file called `demo` in the folder is meant by `demo`, as with the shell."""
    (tmp_path / "demo").write_text(changed(("name: Ridgeline Valley demo", "name: My own")), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert load_household("demo").name == "My own"


def test_the_tariff_beside_the_file_goes_first(tmp_path):
    """`tariff: flat` is the file `flat` beside the household if there is one, whatever the folder one is in."""
    (tmp_path / "flat").write_text(
        "{name: Mine, currency: USD, timezone: America/Denver, prices: 0.1}", encoding="utf-8"
    )
    (tmp_path / "home.yaml").write_text(changed(("tariff: summer-peak", "tariff: flat")), encoding="utf-8")
    assert load_household(tmp_path / "home.yaml").tariff.name == "Mine"


def test_a_circuit_decides_where_a_stop_has_no_evse():
    """README: a stop has a `circuit` and `evse`; without an EVSE 80 % of its breaker remains (NFPA 70, 210.20(A))."""
    home = read_household(changed(("    evse: {max_current: 16 A}\n", "")))
    assert home.stops[0].limit.current_a == pytest.approx(0.8 * 20)


def test_a_direct_current_stop_is_limited_by_the_car():
    """README: `dc_power` instead of a circuit; the least of station and car holds."""
    home = read_household(changed((STOP, "    dc_power: 150 kW\n"), ("daily_limit: 90 %", "dc_max: 60 kW")))
    assert home.stops[0].limit.wall_kw == pytest.approx(60)


# ------------------------------------------------------------------------------------------------ single mistakes

#: old text, new text, line, column, what must be said, what would be right there, in the words of the remedy.
MISTAKES = {
    "no unit": ("breaker: 50 A", "breaker: 50", "7:3", "has no unit", "32 A"),
    "wrong unit": ("breaker: 50 A", "breaker: 50 V", "7:3", "'V' is not a unit of current", "32 A"),
    "breaker of 0 A": ("breaker: 50 A", "breaker: 0 A", "7:3", "breaker is out of range", "50 A"),
    "EVSE above 80 A": ("max_current: 32 A", "max_current: 100 A", "10:3", "max_current is out of range", "32 A"),
    "EVSE below 6 A": ("max_current: 32 A", "max_current: 4 A", "10:3", "max_current is out of range", "32 A"),
    "step of 0 A": (
        *("max_current: 32 A", "max_current: 32 A\n  step: 0 A", "11:3"),
        *("step is out of range", "1 A"),
    ),
    "no battery": ("usable_battery: 58 kWh", "usable_battery: 0 kWh", "14:3", "usable_battery is out", "60 kWh"),
    "battery in kW": ("usable_battery: 58 kWh", "usable_battery: 58 kW", "14:3", "not a unit of energy", "60 kWh"),
    "onboard 0": ("onboard_charger: 7.7 kW", "onboard_charger: 0 kW", "15:3", "onboard_charger is out", "7.7 kW"),
    "onboard bare": ("onboard_charger: 7.7 kW", "onboard_charger: 7.7", "15:3", "has no unit", "7.7 kW"),
    "consumption 0": ("26.4 kWh/100 mi", "0 kWh/100 mi", "16:3", "consumption is out", "26 kWh/100 mi"),
    "consumption in Wh": ("26.4 kWh/100 mi", "26400 kWh/100 mi", "16:3", "consumption is out", "16 kWh/100 km"),
    "consumption kWh": ("26.4 kWh/100 mi", "26.4 kWh", "16:3", "'kWh' is not a unit of", "25 kWh/100 mi"),
    "measured nowhere": ("measured_at: wall", "measured_at: car", "17:3", "`car` is not known", "battery"),
    "daily limit 0": ("daily_limit: 90 %", "daily_limit: 0 %", "18:3", "daily_limit is out of range", "80 %"),
    "daily limit 130 %": ("daily_limit: 90 %", "daily_limit: 130 %", "18:3", "more than 100 %", "100 %"),
    "24 h clock": ("plug_in: 18:15", "plug_in: 6.15", "21:3", "not a time of day", "00:00"),
    "25 o'clock": ("plug_in: 18:15", "plug_in: 25:00", "21:3", "not a time of day", "24:00"),
    "day twice": (LEAVE, "{weekdays: 07:15, weekends: 09:30, Sun: stays home}", "22:3", "Sun is given twice", None),
    "day missing": (LEAVE, "{weekdays: 07:15, Sat: 09:30}", "22:3", "nothing is said for Sun", None),
    "unknown day": (LEAVE, "{workdays: 07:15, weekends: 09:30}", "22:11", "`workdays` is not a day", None),
    "never leaves": (LEAVE, "stays home", "22:3", "the car never leaves", None),
    "half at home": (LEAVE, "{weekdays: 07:15, weekends: at home}", "22:28", "at home is not a time", "stays home"),
    "no rest at home": (LEAVE, LEAVE.replace("07:15", "18:15"), "22:3", "on Mon the car leaves on the very", None),
    "distance bare": ("{weekdays: 29 mi, Sat: 46 mi}", "29", "23:3", "has no unit", "29 mi"),
    "distance missing": ("{weekdays: 29 mi, Sat: 46 mi}", "{weekdays: 29 mi}", "23:3", "nothing is said for Sat", None),
    "target 180 %": ("target: 80 %", "target: 180 %", "24:3", "180 % is more than 100 %", "100 %"),
    "target bare": ("target: 80 %", "target: 80", "24:3", "has no unit", "80 %"),
    "below the floor": ("target: 80 %", "target: 10 %", "24:3", "the target is below the floor", None),
    "floor 120 %": ("floor: 20 %", "floor: 120 %", "25:3", "120 % is more than 100 %", "0 %"),
    "misspelled key": ("floor: 20 %", "flor: 20 %", "25:3", "`flor` is not known here; did you mean `floor`?", None),
    "unknown section": ("floor: 20 %", "floor: 20 %\ncost: 5", "26:1", "`cost` is not known here", None),
    "missing section": ("evse:\n", "evze:\n", "9:1", "`evze` is not known here; did you mean `evse`?", None),
    "no zone": ("America/Denver", "America/Denvr", "3:1", "not a time zone; did you mean America/Denver", None),
    "unknown tariff": ("summer-peak", "sumer-peak", "4:1", "there is no rate sheet `sumer-peak`", "summer-peak"),
    "no voltage": ("  volts: 240 V\n", "", "6:1", "the voltage is missing", "volts: 240 V"),
    "400 V": ("volts: 240 V", "volts: 400 V", "8:3", "volts is out of range", "volts_between_phases: 400 V"),
    "three plain volts": ("volts: 240 V", "volts: 240 V\n  phases: 3", "8:3", "unclear", "volts_to_neutral: 230 V"),
    "two phases": ("volts: 240 V", "volts: 240 V\n  phases: 2", "9:3", "`2` is not known", "1 or 3"),
    "neutral on one": ("volts: 240 V", "volts_to_neutral: 240 V", "8:3", "belongs to three", "volts: 240 V"),
    "factor 120 %": ("volts: 240 V", "volts: 240 V\n  continuous_factor: 120 %", "9:3", "more than 100", "100 %"),
    "factor 0 %": ("volts: 240 V", "volts: 240 V\n  continuous_factor: 0 %", "9:3", "continuous_factor is out", "80 %"),
    "stop early": ("from: 08:05", "from: 06:05", "30:5", "not within the car's time away, 07:15-18:15", None),
    "stop late": ("to: 16:45", "to: 19:45", "30:5", "not within the car's time away, 07:15-18:15", None),
    "stop backwards": ("to: 16:45", "to: 07:45", "31:5", "the stop ends before it begins", None),
    "stop unpriced": ("    price: 0 ", "    # ", "28:5", "a stop needs a `price` or a `tariff`", "price: 0"),
    "stop priced twice": ("    price: 0 ", "    tariff: flat\n    price: 0 ", "34:5", "not both", "remove"),
    "stop without power": (STOP, "", "28:5", "needs a `circuit` or a `dc_power`", "dc_power: 50 kW"),
    "stop with both": (STOP, STOP + "    dc_power: 50 kW\n", "34:5", "`circuit` or a `dc_power`, not both", "remove"),
    "stop without DC": (STOP, "    dc_power: 50 kW\n", "28:5", "does not say what it takes", "dc_max: 100 kW"),
    "stop's tariff": ("    price: 0 ", "    tariff: nowhere ", "34:5", "there is no rate sheet `nowhere`", "flat"),
    "stop's days": ("days: Tue, Thu", "days: Tue, Thursdy", "29:5", "`thursdy` is not a day", "weekdays"),
    "stop's EVSE": ("{max_current: 16 A}", "{max_current: 160 A}", "33:12", "max_current is out of range", "32 A"),
    "price in words": ("    price: 0 ", "    price: free ", "34:5", "`free` is not a number", "0.31"),
    "losses of 0 %": (
        *("daily_limit: 90 %", "losses: {level 2: {efficiency: 0 %}}", "18:22"),
        *("efficiency is out of range", "92 %"),
    ),
    "losses of 20 kW": (
        *("daily_limit: 90 %", "losses: {level 2: {efficiency: 90 %, overhead: 20 kW}}", "18:40"),
        *("overhead is out of range", "200 W"),
    ),
    "losses of all": (
        *("daily_limit: 90 %", "losses: {level 2: {efficiency: 50 %, overhead: 5 kW}}", "18:3"),
        *("the losses leave nothing for the battery", "200 W"),
    ),
    "level 3": ("daily_limit: 90 %", "losses: {level 3: {efficiency: 90 %}}", "18:12", "`level 3` is not", "level 2"),
    "max_age bare": (
        *("floor: 20 %", "floor: 20 %\nstate_of_charge: {file: soc.txt, max_age: 12}", "26:34"),
        *("has no unit", "12 h"),
    ),
    "prefer": ("floor: 20 %", "floor: 20 %\nprefer: cheapest", "26:1", "`cheapest` is not known", "earliest"),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_has_its_place_and_a_remedy(name):
    """One mistake gives one line, `file:line:column: what; remedy`, at the value that is wrong, and nothing else.

    The place is where the new text stands, counted from 1 in lines and columns, as compilers count.
    """
    old, new, place, what, remedy = MISTAKES[name]
    lines = mistakes_of(changed((old, new)))
    at_place = [line for line in lines if line.startswith(f"home.yaml:{place}: ") and what in line]
    assert len(at_place) == 1, lines
    assert len(lines) == 1, lines
    said = at_place[0]
    assert "; " in said, "no remedy"
    assert remedy is None or remedy in said.partition("; ")[2]


@pytest.mark.parametrize(
    ("name", "key", "right"),
    [
        ("no unit", "breaker", "32 A"),
        ("breaker of 0 A", "breaker", "50 A"),
        ("no battery", "usable_battery", "60 kWh"),
        ("battery in kW", "usable_battery", "60 kWh"),
        ("EVSE above 80 A", "max_current", "32 A"),
        ("EVSE below 6 A", "max_current", "32 A"),
        ("step of 0 A", "step", "1 A"),
        ("onboard 0", "onboard_charger", "7.7 kW"),
        ("consumption 0", "consumption", "26 kWh/100 mi"),
        ("daily limit 0", "daily_limit", "80 %"),
        ("target 180 %", "target", "100 %"),
        ("target bare", "target", "80 %"),
        ("factor 0 %", "continuous_factor", "80 %"),
    ],
)
def test_a_remedy_taken_by_the_letter_helps(name, key, right):
    """Who writes what the message proposes has a household that loads: no remedy leads to the next mistake."""
    old, new, *_ = MISTAKES[name]
    text = changed((old, new))
    assert right in mistakes_of(text)[0].partition("; ")[2]
    lines = [
        line.partition(":")[0] + f": {right}" if line.strip().startswith(f"{key}:") else line
        for line in text.splitlines()
    ]
    assert isinstance(read_household("\n".join(lines)), Household)


@pytest.mark.parametrize(
    ("taper", "what"),
    [
        ("{0 %: 11 kW, 85 %: 3 kW, 100 %: 11 kW}", "must be concave, but it sags"),
        ("{10 %: 11 kW, 100 %: 3 kW}", "goes from 0 % to 100 %"),
        ("{}", "goes from 0 % to 100 %"),
        ("{0 %: 11 kW, 0.0 %: 12 kW, 100 %: 3 kW}", "a state of charge is given twice"),
        ("{0 %: 0 kW, 100 %: 0 kW}", "can never charge"),
        ("{0 %: 11 kW, 850 %: 3 kW}", "state of charge is out of range"),
        ("{0 %: 11 kW, 85: 11 kW, 100 %: 3 kW}", "'85' has no unit"),
    ],
)
def test_a_taper_is_refused_where_it_stands(taper, what):
    """README: the curve must bend downwards only, from 0 % to 100 %; the message is at the taper's line."""
    (line,) = mistakes_of(changed((TAPER, taper), name="three-phase"))
    assert line.startswith("home.yaml:23:3: ")
    assert what in line


def test_three_phases_with_two_voltages():
    """A three-phase circuit is given by one of its two voltages; nothing is guessed."""
    both = "volts_to_neutral: 230 V\n  volts_between_phases: 400 V"
    (line,) = mistakes_of(changed(("volts_to_neutral: 230 V", both), name="three-phase"))
    assert line.startswith("home.yaml:6:1: a three-phase circuit needs exactly one voltage; write")


def test_a_broken_rate_sheet_reports_its_own_mistakes(tmp_path):
    """README: every mistake of a file at once; those of the rate sheet carry the sheet's name and places."""
    (tmp_path / "mine.yaml").write_text("name: Mine\ncurrency: dollars\ntimezone: America/Denver\nprices: free\n")
    (tmp_path / "home.yaml").write_text(changed(("summer-peak", "mine.yaml"), ("floor: 20 %", "flor: 20 %")))
    with pytest.raises(FileError) as caught:
        load_household(tmp_path / "home.yaml")
    places = [(mistake.file, mistake.line) for mistake in caught.value.mistakes]
    sheet, home = str(tmp_path / "mine.yaml"), str(tmp_path / "home.yaml")
    assert places == [(home, 25), (sheet, 2), (sheet, 4)]


def test_holiday_habits_need_holidays():
    """Habits of holidays on a rate that names none can never apply, so they are a mistake."""
    holiday = ("plug_in: 18:15", "plug_in: {every day: 18:15, holidays: 12:00}")
    assert read_household(changed(holiday)).habits.plug_in.holiday == 720
    (line,) = mistakes_of(changed(holiday, ("tariff: summer-peak", "tariff: flat")))
    assert "the rate sheet names no holidays; leave `holidays` out" in line


def test_many_mistakes_are_reported_at_once():
    """README: every mistake of a file is reported at once, with line and column, in the order of the lines."""
    text = changed(
        ("America/Denver", "America/Denvr"),
        ("summer-peak", "nowhere"),
        ("breaker: 50 A", "breaker: 50"),
        ("max_current: 32 A", "max_current: 100 A"),
        ("usable_battery: 58 kWh", "usable_battery: 58 kW"),
        ("daily_limit: 90 %", "daily_limits: 90 %"),
        ("plug_in: 18:15", "plug_in: 25:00"),
        (LEAVE, "stays home"),
        ("{weekdays: 29 mi, Sat: 46 mi}", "29"),
        ("target: 80 %", "target: 180 %"),
        ("days: Tue, Thu", "days: x"),
        ("to: 16:45", "to: 4:45 pm"),
        ("{breaker: 20 A, volts: 120 V}", "{breaker: 20 A}"),
        ("    price: 0 ", "    # "),
    )
    lines = mistakes_of(text)
    where = [tuple(map(int, line.split(":")[1:3])) for line in lines]
    expected = [(3, 1), (4, 1), (7, 3), (10, 3), (14, 3), (18, 3), (21, 3), (22, 3), (23, 3), (24, 3), (28, 5), (29, 5)]
    assert where == [*expected, (31, 5), (32, 5)], "\n".join(lines)


# ------------------------------------------------------------------------------------------------ anything at all

FUZZ = settings(deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])


def check_outcome(given):
    """A household, or a FileError whose mistakes lie in the text and are said in one line each."""
    mistakes = None
    try:
        home = read_household(given, "fuzz.yaml")
    except FileError as error:
        mistakes = error.mistakes
    else:
        assert isinstance(home, Household)
    if mistakes is not None:
        text = given if isinstance(given, str) else given.decode("utf-8", "replace")
        most = max(text.count("\n"), len(text.splitlines())) + 2
        assert mistakes
        for mistake in mistakes:
            assert mistake.what
            assert mistake.column >= 1
            assert 1 <= mistake.line <= most
            assert str(mistake).isprintable(), "a message is one line without control characters"


@settings(FUZZ, max_examples=150)
@given(st.text() | st.binary())
def test_any_text_or_bytes(given):
    """Whatever a file holds, the outcome is a household or a list of located mistakes."""
    check_outcome(given)


@settings(FUZZ, max_examples=500)
@given(st.data())
def test_an_example_with_changes(data):
    """An example with words exchanged, lines lost or doubled and characters changed: a household or mistakes."""
    text = text_of(data.draw(st.sampled_from(EXAMPLES)))
    words = text.split(" ")
    for _ in range(data.draw(st.integers(1, 4))):
        kind = data.draw(st.sampled_from(["swap", "drop line", "double line", "insert", "replace word"]))
        if kind == "swap":
            i, j = (data.draw(st.integers(0, len(words) - 1)) for _ in range(2))
            words[i], words[j] = words[j], words[i]
        elif kind == "replace word":
            i = data.draw(st.integers(0, len(words) - 1))
            other = st.sampled_from(["0", "-1", "1e9", "5 %", "null", "[]", "{}", "07:15", "32 A", "x: y", "&a", "*a"])
            words[i] = data.draw(other | st.text(max_size=6))
        else:
            lines = " ".join(words).splitlines(keepends=True)
            i = data.draw(st.integers(0, len(lines) - 1))
            if kind == "insert":
                at = data.draw(st.integers(0, len(lines[i])))
                lines[i] = lines[i][:at] + data.draw(st.text(max_size=3)) + lines[i][at:]
            elif len(lines) > 1:
                lines[i] = lines[i] * 2 if kind == "double line" else ""
            words = "".join(lines).split(" ")
    check_outcome(" ".join(words))


#: Values of every type, right and wrong, for any key.
ANY_VALUE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
    | st.sampled_from(["50 A", "0 A", "1e300 kWh", "80 %", "07:15", "24:00", "stays home", "flat", "240 V", "29 mi"]),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["Mon", "weekdays", "x"]), inner),
    max_leaves=4,
)  # fmt: skip


@settings(FUZZ, max_examples=300)
@given(st.data())
def test_an_example_with_values_of_any_type(data):
    """Any value under any key, in YAML's own types: a household or mistakes."""
    sheet = read_document("x", text=text_of(data.draw(st.sampled_from(EXAMPLES)))).data
    for _ in range(data.draw(st.integers(1, 3))):
        part = sheet
        while True:
            key = data.draw(st.sampled_from(sorted(part)) if isinstance(part, dict) and part else st.just("name"))
            inner = part.get(key)
            inner = inner[0] if isinstance(inner, list) and inner else inner
            if isinstance(inner, dict) and inner and data.draw(st.booleans()):
                part = inner
                continue
            if data.draw(st.integers(0, 4)) == 0:
                part.pop(key, None)
            else:
                part[key] = data.draw(ANY_VALUE)
            break
    check_outcome(json.dumps(sheet))


def test_the_limits_by_hand_fit_the_examples():
    """`number` of these tests reads what the library reads: 80 % is 0.8, 50 A is 50 (guards the tests themselves)."""
    assert [number(text) for text in ("80 %", "0.75", "50 A", "7.7 kW")] == [0.8, 0.75, 50.0, 7.7]


def test_two_currencies_are_not_added_up():
    """A stop whose rate sheet is in another currency than the one at home is refused, not converted."""
    text = (example_folder() / "demo.yaml").read_text().replace("price: 0 ", "tariff: drei-zeiten ")
    with pytest.raises(FileError, match="the rate sheet of workplace is in EUR, not in USD; use one currency"):
        read_household(text)
