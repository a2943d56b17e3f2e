"""Windows of a list at their own lines, indentation gone wrong, decimal commas, and what a line may be called."""

import pytest

from chargeplan.errors import FileError, InputError
from chargeplan.tariff import read_tariff
from chargeplan.tariff.windows import Window

HEAD = "name: A\ncurrency: USD\ntimezone: America/Denver\n"
INDENT = "a line that starts with `- ` seems to be indented wrongly, begin it right below the `- ` of the line before"


def messages_of(text):
    with pytest.raises(FileError) as caught:
        read_tariff(text, "a.yaml")
    return str(caught.value).splitlines()


def test_each_bad_window_of_a_list_is_told_at_its_own_line():
    """What cannot be read, unknown seasons, days and holidays that are none: the window's line, not its period's."""
    text = HEAD + (
        "seasons: {summer: Jun - Sep, winter: rest}\nperiods:\n  peak:\n    - 16:00-21:00 on weekdays in summer\n"
        "    - 6am-9am on weekdays in winter\n    - 16:00-25:00\n  other: rest\nprices: {peak: 2, other: 1}\n"
    )
    assert messages_of(text) == [
        "a.yaml:8:7: peak: `6am-9am` is not a span of hours; write for example 16:00-21:00 on weekdays",
        "a.yaml:9:7: peak: 25:00 is not a time of day; write 00:00 to 24:00",
    ]
    unknown = text.replace(
        "6am-9am on weekdays in winter", "06:00-09:00 on weekdays in wintre; 05:00-06:00 on workdays"
    )
    assert messages_of(unknown.replace("16:00-25:00", "12:00-13:00 on holidays")) == [
        "a.yaml:8:7: `wintre` is not a season of this sheet; known are summer, winter",
        "a.yaml:8:7: peak: `workdays` is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays",
        "a.yaml:9:7: `12:00-13:00 on holidays` speaks of holidays, but the sheet names none; add `holidays:`, for "
        "example `holidays: {country: US}`, or leave the word out",
    ]
    line = (
        HEAD
        + "prices: 1\nadders:\n  night:\n    price: 0.1\n    hours:\n      - 00:00-06:00\n      - 22:00-24:00 in May\n"
    )
    assert messages_of(line) == ["a.yaml:10:9: `May` is not a season of this sheet; known are none"]


@pytest.mark.parametrize(
    ("second", "shown"),
    [
        ("06:00-09:00, 17:00-20:00 on weekdays in winter", "06:00-09:00"),
        ("06:00 to 09:00", "06:00 to 09:00"),
        ("all day on weekends", "all day"),
    ],
)
def test_an_item_that_went_on_in_the_line_before(second, shown):
    """YAML takes a deeper `- ` for more text; the message says so instead of speaking of words that come twice."""
    text = HEAD + (
        f"periods:\n  peak:\n  - 14:00-19:00 on weekdays\n    - {second}\n  other: rest\n"
        "prices: {peak: 2, other: 1}\n"
    )
    assert messages_of(text) == [f"a.yaml:6:5: peak: the hours go on with `- {shown}`; {INDENT}"]


@pytest.mark.parametrize(
    "text", ["16:00 - 21:00 on Mon - Fri", "22:00 - 06:00, 12:00 - 13:00 on weekdays in mid - off"]
)
def test_dashes_that_are_no_items(text):
    """Blanks around a dash stay what they were."""
    assert Window.parse(text).text == text
    with pytest.raises(InputError, match="`on` comes twice"):
        Window.parse("16:00-21:00 on Mon on Fri")


@pytest.mark.parametrize(
    ("written", "column", "message"),
    [
        ("prices: {peak: 0.21, other: 0,06}", 22, "other: `0,06` has a decimal comma; write a decimal point, 0.06"),
        ("prices: {peak: 0,21, other: 1}", 10, "peak: `0,21` has a decimal comma; write a decimal point, 0.21"),
        (
            "prices: {peak: 1, other: 0,06 up to 600 then 0,08}",
            19,
            "other: `0,06 up to 600 then 0,08` has a decimal comma; write a decimal point, 0.06 up to 600 then 0.08",
        ),
        (
            "prices: {peak: 1, other: 1 up to 600 then 0,08}",
            19,
            "other: `1 up to 600 then 0,08` has a decimal comma; write a decimal point, 1 up to 600 then 0.08",
        ),
        (
            "prices: 1\nfixed: {basic: 0,42 per day}",
            9,
            "basic: `0,42 per day` has a decimal comma; write a decimal point, 0.42 per day",
        ),
    ],
)
def test_a_decimal_comma_between_braces(written, column, message):
    """YAML reads `{other: 0,06}` as two keys; the message is about the number, and there is one only."""
    text = HEAD + f"periods: {{peak: 16:00-21:00, other: rest}}\n{written}\n"
    line = 4 + len(written.splitlines())
    assert messages_of(text) == [f"a.yaml:{line}:{column}: {message}"]


def test_what_only_looks_like_a_decimal_comma():
    """A key on another line, and hours that lack their quotes, are told as before."""
    text = HEAD + "periods: {peak: 16:00-21:00, other: rest}\nprices: {peak: 1, other: 0,\n  06: }\n"
    assert not any("decimal comma" in line for line in messages_of(text))
    hours = HEAD + "periods: {peak: 16:00-21:00, 06:00-09:00, other: rest}\nprices: 1\n"
    assert not any("decimal comma" in line for line in messages_of(hours))


def test_lines_of_a_bill_may_be_called_by_any_words():
    """No window speaks of lines, so words such as `on` and `in` are free; taxes and minimum still find the lines."""
    tariff = read_tariff(
        HEAD + "prices: 0.1\nadders: {reward in advance: 0.02}\nfixed: {pay on time: 1 per month}\n"
        "taxes: {tax in state: 5 % of pay on time and reward in advance}\n"
        "minimum: {charge: 20 per month, of: [pay on time]}\ncredits: {pay on time credit: 5 % of pay on time}\n"
    )
    items = {item.name: float(item.amount) for item in tariff.bill(700, start="2026-06-01", end="2026-06-30").items}
    # 5 % of 1.00 + 700 x 0.02; the minimum tops 1.00 up to 20.00.
    assert (items["tax in state"], items["minimum"], items["pay on time credit"]) == (0.75, 19.0, -0.05)
    for key in ("periods: {on peak: 16:00-21:00, other: rest}", "seasons: {in season: Jun, other: rest}"):
        (message,) = messages_of(HEAD + f"{key}\nprices: 1\n")
        assert message.endswith("use words without commas and not on, in, except, starting")


def test_fixed_beside_a_charge_without_a_name():
    """A charge without a name is called `fixed` on the bill, so another line cannot be; alone, the name is free."""
    assert messages_of(HEAD + "components: {fixed: 0.1}\nfixed: 12 per month\n") == [
        "a.yaml:5:1: `fixed` is a component already; "
        "give one of them another name, as in `fixed: {basic: 12 per month}`"
    ]
    assert messages_of(HEAD + "prices: 0.1\nfixed: 12 per month\ntaxes: {fixed: 5 %}\n") == [
        "a.yaml:6:9: `fixed` is a fixed charge already; give the tax another name"
    ]
    # From one version to the next the charge may get its name; it stays the same line.
    tariff = read_tariff(
        HEAD + "prices: 0.1\nfixed: 12 per month\nversions: [{from: 2026-06-16, fixed: {fixed: 14 per month}}]\n"
    )
    bill = tariff.bill(0, start="2026-06-01", end="2026-06-30")
    assert {item.name for item in bill.items if item.amount} == {"fixed"}
    assert bill.total == 13
