"""Choosing, asking and distrusting solvers."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pulp
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import blocks_of, problems

from chargeplan.errors import InputError, SolverError
from chargeplan.plan import certify, engines, night, reach, solve, write_model
from chargeplan.plan.engines import run_highs, run_pulp, without_fixed
from chargeplan.plan.program import Program, by_time, linear_program, optimal_face

FOUR = night([0.30, 0.10, 0.20, 0.10], max_kw=8.0, need_kwh=5.0)
SOLVERS = ["auto", "merit order", "highs", "pulp:CBC", "pulp:PULP_CBC_CMD", "pulp:HiGHS"]


@pytest.mark.parametrize("solver", SOLVERS)
@pytest.mark.parametrize("tie_break", ["earliest", "as needed", "latest"])
def test_all_solvers_give_one_plan(solver, tie_break):
    """With the tie-break there is one best plan, and every solver gives it, and says its name."""
    solution = solve(FOUR, solver, tie_break)
    assert solution.battery_kwh == pytest.approx([0, 2, 1, 2], abs=1e-9)
    name = {"pulp:CBC": "CBC", "pulp:HiGHS": "HiGHS", "highs": "HiGHS"}.get(solver, "")
    assert name in solution.method


@settings(max_examples=60)
@given(
    problems(max_stays=4),
    st.sampled_from(["earliest", "as needed", "latest"]),
    st.sampled_from(["pulp:CBC", "pulp:HiGHS"]),
)
def test_pulp_equals_merit_order(problem, tie_break, solver):
    """Through PuLP the plan, tie-break included, equals merit order, and is proven optimal."""
    solution = solve(problem, solver, tie_break)
    assert solution.battery_kwh == pytest.approx(solve(problem, "merit order", tie_break).battery_kwh, abs=1e-6)
    assert certify(problem, solution.wall_kwh).optimal


@settings(max_examples=20)
@given(problems(max_stays=2, max_slots=4))
def test_fewest_starts_through_cbc(problem):
    """The mixed-integer program has the same number of starts when CBC solves it."""
    counts = [
        blocks_of(problem, solve(problem, solver, "fewest starts").battery_kwh).first.size
        for solver in ("auto", "pulp:CBC")
    ]
    assert counts[0] == counts[1]


@pytest.mark.parametrize("solver", ["hihgs", "pulp:", "cbc", ""])
def test_misspelled_solver(solver):
    """A misspelled solver is refused with the choices."""
    with pytest.raises(InputError, match="auto, merit order, highs, pulp:CBC"):
        solve(FOUR, solver)


def test_solver_pulp_does_not_know():
    """An unknown PuLP solver is refused with PuLP's list; one that is not installed, with what is."""
    with pytest.raises(InputError, match="choose CBC or one of"):
        solve(FOUR, "pulp:CCB")
    with pytest.raises(InputError, match="not installed here"):
        solve(FOUR, "pulp:MIPCL_CMD")


def test_wrong_tie_break_and_wrong_method():
    """A misspelled tie-break is refused; so is merit order for what it cannot do."""
    with pytest.raises(InputError, match="earliest, as needed, latest, fewest starts"):
        solve(FOUR, tie_break="soonest")
    with pytest.raises(InputError, match="fewest starts"):
        solve(FOUR, "merit order", "fewest starts")
    with pytest.raises(InputError, match="taper"):
        solve(night([0.1], 4.0, 1.0, taper=[(0, 3)]), "merit order")


def test_auto_says_what_it_did():
    """Merit order where it applies, else the program."""
    assert solve(FOUR).method.startswith("merit order")
    assert solve(night([0.1], 4.0, 0.5, taper=[(0, 3)])).method == "linear program, solved by HiGHS"
    assert solve(FOUR, tie_break="fewest starts").method.startswith("mixed-integer program")


@pytest.mark.parametrize("solver", ["pulp:CBC", "pulp:HiGHS", "highs"])
def test_nothing_on_standard_output(solver):
    """Not even the banner that HiGHS writes to the file descriptor before it can be told not to."""
    code = (
        "from chargeplan.plan import *\n"
        f"print(solve(night([0.3, 0.1, 0.1], 8.0, 3.0), {solver!r}).wall_kwh.round(6).tolist())"
    )
    out = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout == "[0.0, 2.0, 1.0]\n"
    assert out.stderr == ""


@pytest.mark.parametrize("ending", [".lp", ".mps"])
def test_written_model(tmp_path, ending):
    """The file, read and solved by CBC itself, has the cost of the plan; no temporary file stays behind."""
    import re

    cbc = pulp.COIN_CMD(path=pulp.apis.coin_api.pulp_cbc_path, msg=False)
    path = write_model(FOUR, tmp_path / f"night{ending}")
    assert [file.name for file in tmp_path.iterdir()] == [path.name]
    out = subprocess.run([cbc.path, str(path), "solve"], capture_output=True, text=True, check=True).stdout
    assert float(re.search(r"[Oo]ptimal.* objective (?:value )?([-\d.]+)", out)[1]) == pytest.approx(0.6, abs=1e-6)


def test_model_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    """When writing fails in the middle the old file is still there, and nothing else."""
    target = tmp_path / "night.lp"
    target.write_text("old")

    def broken(self, name, **_):
        with open(name, "w") as file:
            file.write("half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pulp.LpProblem, "writeLP", broken)
    with pytest.raises(InputError, match="No space left"):
        write_model(FOUR, target)
    assert [(file.name, file.read_text()) for file in tmp_path.iterdir()] == [("night.lp", "old")]
    with pytest.raises(InputError, match=r"\.lp or \.mps"):
        write_model(FOUR, tmp_path / "night.txt")


def impossible():
    program = linear_program(FOUR, reach(FOUR))
    return replace(program, row_lower=program.row_lower + 100, row_upper=program.row_upper + 100)


@pytest.mark.parametrize("run", [run_highs, lambda p: run_pulp(p, "CBC"), lambda p: run_pulp(p, "HiGHS")])
def test_infeasible_is_an_error_not_an_answer(run):
    """Solvers leave numbers behind for infeasible programs; they are never read."""
    with pytest.raises(SolverError):
        run(impossible())


def test_numbers_that_are_not_finite_are_caught_before():
    """scipy reports NaN as 'infeasible', so it is looked for first."""
    program = linear_program(FOUR, reach(FOUR))
    with pytest.raises(SolverError, match="finite"):
        run_highs(replace(program, cost=np.full_like(program.cost, np.nan)))


def test_an_answer_that_breaks_limits_is_refused(monkeypatch):
    """'Optimal' with all values 0, as PuLP reports some time limits, is caught by the residuals."""

    def lie(self, solver=None, **_):
        for variable in self.variables():
            variable.varValue = 0.0
        self.sol_status = pulp.LpSolutionOptimal
        return pulp.LpStatusOptimal

    monkeypatch.setattr(pulp.LpProblem, "solve", lie)
    with pytest.raises(SolverError, match="breaks a limit"):
        run_pulp(linear_program(FOUR, reach(FOUR)), "CBC")


def test_a_limit_reported_as_optimal_is_refused(monkeypatch):
    """Status 'Optimal' with another status of the solution is not believed."""
    honest = pulp.LpProblem.solve

    def stopped(self, solver=None, **rest):
        status = honest(self, solver, **rest)
        self.sol_status = pulp.LpSolutionIntegerFeasible
        return status

    monkeypatch.setattr(pulp.LpProblem, "solve", stopped)
    with pytest.raises(SolverError, match="no optimal plan"):
        run_pulp(linear_program(FOUR, reach(FOUR)), "CBC")


def test_presolve_is_tried_off_before_saying_infeasible(monkeypatch):
    """A wrong 'infeasible' with presolve does not reach the user."""
    import scipy.optimize

    honest, asked = scipy.optimize.linprog, []

    def wrong_with_presolve(*args, options, **rest):
        asked.append(options["presolve"])
        result = honest(*args, options=options, **rest)
        if options["presolve"]:
            result.status, result.x = 2, None
        return result

    monkeypatch.setattr(scipy.optimize, "linprog", wrong_with_presolve)
    assert solve(FOUR, "highs").battery_kwh == pytest.approx([0, 2, 1, 2], abs=1e-9)
    assert asked[:2] == [True, False]


@settings(max_examples=200)
@given(problems(taper=True))
def test_the_optimal_face_holds_only_optimal_plans(problem):
    """The latest plan on the face costs the same as the first plan found: nothing dearer is on it."""
    program = linear_program(problem, reach(problem))
    answer = run_highs(program)
    face = optimal_face(program, answer.row_duals)
    other = run_highs(by_time(face, np.arange(face.slots)[::-1]))
    assert program.cost @ other.x == pytest.approx(program.cost @ answer.x, abs=1e-7)


@settings(max_examples=100)
@given(problems(taper=True))
def test_leaving_out_fixed_columns_changes_nothing(problem):
    """The cost and the row sums of a program without its fixed columns are those of the whole."""
    program = linear_program(problem, reach(problem))
    small, free, kept = without_fixed(program)
    x = np.where(free, (program.lower + program.upper) / 2, program.lower)
    shift = program.row_values(x)[kept] - small.row_values(x[free])
    assert small.row_upper + shift == pytest.approx(program.row_upper[kept])
    assert engines._check(program, run_highs(program).x, "HiGHS") is None


@pytest.mark.parametrize("run", [run_highs, lambda p: run_pulp(p, "CBC"), lambda p: run_pulp(p, "HiGHS")])
def test_the_sign_of_duals(run):
    """A dual is the change of the cost with the limit: 2 for ``x >= 3`` at cost 2, -1 for ``z <= 4`` at cost -1."""
    program = Program(
        cost=np.array([2.0, -1.0]),
        lower=np.zeros(2),
        upper=np.full(2, 10.0),
        integer=np.zeros(2, dtype=bool),
        rows=np.arange(2),
        columns=np.arange(2),
        values=np.ones(2),
        row_lower=np.array([3.0, -np.inf]),
        row_upper=np.array([np.inf, 4.0]),
        slots=2,
    )
    answer = run(program)
    assert answer.x == pytest.approx([3, 4])
    assert answer.row_duals == pytest.approx([2, -1])
