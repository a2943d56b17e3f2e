"""The command `import` for records: what is printed and written, how mistakes are told, exit codes."""

import json
import re
import sys
from pathlib import Path

import jsonschema
import pytest

from chargeplan.output.json_schema import SCHEMAS
from chargeplan.tariff import load_tariff, read_tariff

sys.path.insert(0, str(Path(__file__).parents[1] / "drafting"))
from record_cases import RIDGELINE, record

ZONE = ("--timezone", "America/Denver")


@pytest.fixture
def save(tmp_path, monkeypatch):
    """Write a record into a file of the folder that the command runs in."""
    monkeypatch.chdir(tmp_path)

    def write(data, name="record.json"):
        (tmp_path / name).write_text(json.dumps(data), encoding="utf-8")
        return name

    return write


def test_the_sheet_is_printed_and_the_notes_are_told(invoke, save):
    result = invoke("import", save(RIDGELINE), *ZONE)
    assert result.exit_code == 0
    assert read_tariff(result.stdout).prices("2026-07-01 15:00", "2026-07-01 17:00", "1 h").tolist() == [0.115, 0.315]
    assert "assumed (timezone): the zone was given, not read" in result.stderr
    assert len(result.stderr.splitlines()) == result.stdout.count("assumed: ") + result.stdout.count("left out: ")


def test_the_sheet_is_written_whole_and_never_over_another(invoke, save, tmp_path):
    file = save(RIDGELINE)
    assert (
        invoke("import", file, *ZONE, "--out", "a.yaml").stdout == "a.yaml: Ridgeline Valley Power, Home time-of-use\n"
    )
    text = (tmp_path / "a.yaml").read_text(encoding="utf-8")
    assert load_tariff(tmp_path / "a.yaml").name == "Ridgeline Valley Power, Home time-of-use"
    again = invoke("import", file, *ZONE, "--holidays", "US", "--out", "a.yaml")
    assert (again.exit_code, again.stdout) == (2, "")
    assert again.stderr == "chargeplan: a.yaml is there already; choose another name, or replace it with --force\n"
    assert (tmp_path / "a.yaml").read_text(encoding="utf-8") == text
    assert invoke("import", file, *ZONE, "--holidays", "US", "--out", "a.yaml", "--force").exit_code == 0
    assert "holidays: {country: US, as: Sunday}" in (tmp_path / "a.yaml").read_text(encoding="utf-8")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.yaml", "record.json"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "no record says its time zone; add the one of Ridgeline Valley Power, like --timezone America/Denver"),
        (("--timezone", "America/Denvr"), "`America/Denvr` is not a time zone; did you mean America/Denver"),
        ((*ZONE, "--holidays", "USA"), "`USA` is neither a country nor a day; write for example US, US-CA"),
        ((*ZONE, "--holidays", "US-XX"), "`XX` is no subdivision of US"),
        ((*ZONE, "--holidays", "Jul 4, Dec 32"), "Dec 32"),
        ((*ZONE, "--holidays", "US", "--holidays-as", "Funday"), "Funday"),
        ((*ZONE, "--edge", "17=17:30"), "no period of the record begins at 17:00; its boundaries are at: 16:00, 21:00"),
        ((*ZONE, "--edge", "16"), "`16` does not say where a boundary of hours moves; write for example 17=17:30"),
        ((*ZONE, "--currency", "dollars"), "`dollars` is not a currency; write its three-letter code"),
        ((*ZONE, "--label", "b1"), "no record has the label b1; choose one of these"),
        ((*ZONE, "--out", "no/such/folder.yaml"), "cannot write no/such/folder.yaml: No such file or directory"),
        ((*ZONE, "--out", "."), "is there already"),
        ((*ZONE, "--out", "a", "--out-dir", "b"), "--out and --out-dir exclude one another; give one of them"),
        ((*ZONE, "--out-dir", "record.json"), "record.json is no folder, but a file; name another one"),
        ((*ZONE, "--out-dir", "record.json/b"), "cannot make the folder record.json/b: Not a directory"),
    ],
)
def test_a_mistake_gets_one_clear_line(invoke, save, tmp_path, arguments, message):
    result = invoke("import", save(RIDGELINE), *arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    last = result.stderr.splitlines()[-1]
    assert last.startswith("chargeplan: ")
    assert message in last
    assert [path.name for path in tmp_path.iterdir()] == ["record.json"]


def test_every_mistake_of_a_record_with_its_place(invoke, save, tmp_path):
    file = save(record(energyratestructure=[[{"rate": "0.1"}], [{}]], startdate="spring"))
    result = invoke("import", file, *ZONE, "--out", "a.yaml")
    assert (result.exit_code, result.stdout) == (2, "")
    lines = result.stderr.splitlines()
    assert len(lines) == 3
    assert all(re.match(r"record\.json:1:\d+: \S+: .*; ", line) for line in lines)
    assert not (tmp_path / "a.yaml").exists()


@pytest.mark.parametrize("name", ["none.json", ".", "a\x00b"])
def test_files_that_cannot_be_read(invoke, save, name):
    result = invoke("import", name, *ZONE)
    assert (result.exit_code, result.stdout) == (2, "")
    assert len(result.stderr.splitlines()) == 1


def test_several_records(invoke, save, tmp_path):
    good, other, bad = record(), record(label="b2", name="Other"), record(label="../c3", energyratestructure=None)
    file = save({"items": [good, other, bad]})
    result = invoke("import", file, *ZONE)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines() == [
        "  5f00000000000000000000a1  Ridgeline Valley Power, Home time-of-use",
        "  b2  Ridgeline Valley Power, Other",
        "  ../c3  Ridgeline Valley Power, Home time-of-use",
        "chargeplan: the file holds 3 records; choose one with --label, or write them all with --out-dir",
    ]
    assert "name: Ridgeline Valley Power, Other\n" in invoke("import", file, *ZONE, "--label", "b2").stdout
    (tmp_path / "out").mkdir()
    result = invoke("import", file, *ZONE, "--out-dir", "out")
    assert result.exit_code == 2
    assert "items[2].energyratestructure: is missing" in result.stderr
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["5f00000000000000000000a1.yaml", "b2.yaml"]
    again = invoke("import", file, *ZONE, "--out-dir", "out", "--holidays", "US")
    assert again.exit_code == 2
    assert "is there already (and 1 more)" in again.stderr
    assert invoke("import", file, *ZONE, "--out-dir", "out", "--label", "b2", "--force").exit_code == 0


def test_records_without_a_label_get_numbers(invoke, save, tmp_path):
    """The folder is made; nothing is where no record can be read."""
    broken = save(record(energyratestructure=None), "broken.json")
    assert invoke("import", broken, *ZONE, "--out-dir", "none").exit_code == 2
    assert not (tmp_path / "none").exists()
    file = save([record(label=None), record(label=None, name="Other")])
    assert invoke("import", file, *ZONE, "--out-dir", "out").exit_code == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["record-1.yaml", "record-2.yaml"]


def test_json_follows_its_schema(invoke, save):
    result = invoke("import", save(RIDGELINE), *ZONE, "--json")
    data = json.loads(result.stdout)
    jsonschema.validate(data, SCHEMAS["drafts"], jsonschema.Draft202012Validator)
    (draft,) = data["drafts"]
    assert draft["label"] == RIDGELINE["label"]
    assert read_tariff(draft["sheet"]).name == draft["name"]
    assert {"kind": "assumed", "place": ["timezone"]}.items() <= next(n for n in draft["notes"] if n["place"]).items()


def test_the_sheet_can_be_used_like_any_other(invoke, save):
    """Checked, billed and drawn."""
    invoke("import", save(RIDGELINE), *ZONE, "--out", "a.yaml")
    assert invoke("check", "a.yaml").exit_code == 0
    bill = invoke(
        "bill", "a.yaml", "--use", "peak=100", "--use", "off-peak=500", "--from", "2026-07-01", "--to", "2026-07-31"
    )
    assert bill.exit_code == 0
    assert "101.50" in bill.stdout  # 100 x 0.315 + 500 x 0.115 + 12.50
    assert invoke("picture", "a.yaml", "--year", "2026").exit_code == 0
