"""The command as a process of its own: from cron, into a pipe, with bare environments, and what it imports."""

import os
import pty
import signal
import subprocess
import sys

import pytest
from household_cases import changed

NIGHT = ("tonight", "demo", "--now", "2026-11-25 20:00", "--soc", "55 %")
PYTHON = (sys.executable, "-I")
HEAVY = {"numpy", "pandas", "scipy", "pulp", "pydantic", "holidays", "matplotlib", "yaml", "highspy"}


def test_exit_codes_of_the_process(process, tmp_path):
    """README: 0, 2 and 3 are what the shell sees; mistakes go to standard error, plans to standard output."""
    fine = process(*NIGHT)
    assert (fine.returncode, fine.stderr) == (0, "")
    assert fine.stdout.startswith("Ridgeline Valley demo: small sedan\n")
    assert fine.stdout.endswith("slots first\n")
    short = process("tonight", "demo", "--now", "2026-11-25 23:40", "--soc", "5 %", "--target", "100 %")
    assert (short.returncode, short.stderr) == (3, "")
    assert "\nShort        by " in short.stdout
    (tmp_path / "bad.yaml").write_text("name: Bad\n")
    bad = process("tonight", "bad.yaml", cwd=tmp_path)
    assert (bad.returncode, bad.stdout) == (2, "")
    assert bad.stderr.startswith("bad.yaml:1:1: ")
    assert process("tonight", "--colour").returncode == 2


def test_python_dash_m(process):
    """`python -m chargeplan` stands for the command."""
    ran = process(*NIGHT, program=(*PYTHON, "-m", "chargeplan"))
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, process(*NIGHT).stdout, "")
    assert process("--version", program=(*PYTHON, "-m", "chargeplan")).stdout.split()[-1]


def test_a_bare_environment_is_enough(process, tmp_path):
    """README: cron gives a program almost no environment; none is needed: no HOME, PATH, LANG, TERM or USER."""
    (tmp_path / "household.yaml").write_text(changed(("small sedan", "Käfer")), encoding="utf-8")
    bare = process("tonight", "household.yaml", *NIGHT[2:], cwd=tmp_path, env={}, encoding="utf-8")
    assert (bare.returncode, bare.stderr) == (0, "")
    assert bare.stdout.startswith("Ridgeline Valley demo: Käfer\n")
    assert process(*NIGHT, cwd=tmp_path, env={}).stdout == process(*NIGHT).stdout


@pytest.mark.parametrize(
    "environment",
    [
        {"NO_COLOR": "1"},
        {"FORCE_COLOR": "1", "CLICOLOR_FORCE": "1", "TERM": "xterm-256color"},
        {"COLUMNS": "20"},
        {"LANG": "de_AT.UTF-8", "LC_ALL": "C", "LANGUAGE": "de"},
        {"TZ": "Asia/Kolkata"},
        {"PYTHONIOENCODING": "latin-1"},
    ],
    ids="-".join,
)
def test_the_environment_changes_nothing(process, environment):
    """README: plain ASCII without colour at most 80 columns, whatever terminal, language or time zone there is."""
    plain = process(*NIGHT).stdout
    assert "\x1b" not in plain
    assert plain.isascii()
    ran = process(*NIGHT, env={**os.environ, **environment})
    assert (ran.stdout, ran.returncode) == (plain, 0)


def test_a_terminal_sees_no_colour_either(command):
    """On a real terminal (a pseudo terminal here) the report is the same, byte for byte but for its line ends."""
    master, slave = pty.openpty()
    child = subprocess.Popen([command, *NIGHT], stdout=slave, stderr=slave, stdin=subprocess.DEVNULL)
    child.wait(60)
    os.close(slave)
    shown = b""
    while not shown.endswith(b"slots first\r\n"):
        shown += os.read(master, 65536)
    os.close(master)
    plain = subprocess.run([command, *NIGHT], capture_output=True, check=True).stdout
    assert shown.replace(b"\r\n", b"\n") == plain


def test_a_name_the_terminal_cannot_show(process, tmp_path):
    """A letter that the terminal's encoding lacks becomes a question mark; the report still comes."""
    (tmp_path / "home.yaml").write_text(changed(("small sedan", "Łódź 20€")), encoding="utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": "latin-1"}
    ran = process(
        *("tonight", "home.yaml", *NIGHT[2:]),
        program=(*PYTHON[:1], "-P", "-m", "chargeplan"),
        cwd=tmp_path,
        env=environment,
        encoding="latin-1",
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("Ridgeline Valley demo: ?ód? 20?\n")


@pytest.mark.parametrize("arguments", [("days", *NIGHT[1:], "--days", "366", "--csv"), NIGHT, ("schema", "tariff")])
def test_a_pipe_that_is_closed_early(command, arguments):
    """`chargeplan days demo | head -1` ends without a traceback: more than a pipe holds, and less."""
    child = subprocess.Popen([command, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert child.stdout.readline()
    child.stdout.close()
    said = child.stderr.read().decode()
    child.stderr.close()
    assert child.wait(60) in (0, 1, -signal.SIGPIPE)
    assert said == ""


def test_standard_output_that_is_closed(process, command):
    """With standard output closed (`>&-`) nothing can be said, and nothing is: no traceback."""
    ran = process("-c", f"'{command}' tonight demo --now '2026-11-25 20:00' >&-", program=("/bin/sh",))
    assert "Traceback" not in ran.stderr


def test_nothing_is_written_to_the_folder(process, tmp_path):
    """Every command can be run in a folder that cannot be written, and leaves it as it was."""
    (tmp_path / "household.yaml").write_text(changed(), encoding="utf-8")
    tmp_path.chmod(0o555)
    now = ("--now", "2026-11-25 20:00", "--soc", "55 %")
    try:
        for arguments in (
            *[("tonight", *now), ("tonight", *now, "--solver", "pulp:PULP_CBC_CMD"), ("days", *now, "--json")],
            *[("prices", "flat", "--csv"), ("check", "household.yaml"), ("schema", "plan")],
        ):
            ran = process(*arguments, cwd=tmp_path, env={**os.environ, "PYTHONWARNINGS": "default"})
            assert (ran.returncode, ran.stderr) == (0, ""), arguments
            assert [found.name for found in tmp_path.iterdir()] == ["household.yaml"]
    finally:
        tmp_path.chmod(0o755)


def test_solvers_do_not_print_into_the_csv(process):
    """Whatever a solver prints of its own, standard output holds the rows and nothing else."""
    for solver in ("highs", "pulp:PULP_CBC_CMD"):
        ran = process(*NIGHT, "--csv", "--solver", solver, env={**os.environ, "PYTHONWARNINGS": "default"})
        assert (ran.returncode, ran.stderr) == (0, "")
        lines = ran.stdout.splitlines()
        assert lines[0].startswith("start,hours,place,")
        assert {line.count(",") for line in lines} == {9}


# ------------------------------------------------------------------------------------------------ imports


def loaded(process, program):
    """The top-level packages that a Python program has imported when it ends."""
    code = f"import sys\n{program}\nprint(*sorted({{name.partition('.')[0] for name in sys.modules}}), file=sys.stderr)"
    ran = process("-c", code, program=PYTHON)
    assert ran.returncode == 0, ran.stderr
    return set(ran.stderr.splitlines()[-1].split())


def test_importing_the_package_is_light(process):
    """`import chargeplan` imports nothing heavy; names are fetched when they are asked for."""
    found = loaded(process, "import chargeplan\nassert chargeplan.__all__")
    assert "chargeplan" in found
    assert not found & HEAVY


def test_tonight_is_light(process):
    """The path of `chargeplan tonight` imports neither pandas nor scipy nor PuLP nor matplotlib."""
    found = loaded(
        process,
        "from chargeplan.cli import main\n"
        f"try:\n    main({list(NIGHT)!r})\nexcept SystemExit as end:\n    assert end.code == 0",
    )
    assert {"chargeplan", "numpy"} <= found
    assert not found & {"pandas", "scipy", "pulp", "matplotlib", "highspy"}


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["tonight", "--help"]])
def test_help_is_lighter_still(process, arguments):
    """Help and version need none of the heavy packages."""
    found = loaded(
        process,
        "from chargeplan.cli import main\n"
        f"try:\n    main({arguments!r})\nexcept SystemExit as end:\n    assert not end.code",
    )
    assert "click" in found
    assert not found & HEAVY


def test_every_public_name_is_there(process):
    """Each name of `__all__` can be had, another one is an AttributeError, and `dir` lists them."""
    import chargeplan

    for name in chargeplan.__all__:
        assert getattr(chargeplan, name) is not None
    assert set(dir(chargeplan)) == set(chargeplan.__all__)
    with pytest.raises(AttributeError, match="no attribute 'charge'"):
        chargeplan.charge  # noqa: B018
