"""Handing a program over to HiGHS (through scipy) or to any solver that PuLP drives."""

from __future__ import annotations

import ctypes
import os
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import InputError, SolverError
from chargeplan.plan.problem import Floats
from chargeplan.plan.program import Program

#: What HiGHS is asked for: the tightest it is used with in practice, so that plans are exact to 1e-9 kWh.
_HIGHS_TOLERANCE: Final = 1e-9
#: Greatest violation accepted in an answer; text files carry 8 digits.
_ACCEPTED: Final = 1e-5


@dataclass(frozen=True, eq=False)
class Answer:
    """What a solver gave: values of the columns, and duals of the rows (None for integer programs)."""

    x: Floats
    row_duals: Floats | None


@dataclass(frozen=True, eq=False)
class Found:
    """What a search found within its time.

    Parameters
    ----------
    x : array or None
        Values of the columns; None if there is no solution, or none was found.
    bound : float
        No solution has a lower objective, as the solver says; minus infinity if it says nothing.
    closed : bool
        Whether the search came to its end: `x` is best, or there is no solution.
    """

    x: Floats | None
    bound: float
    closed: bool


def without_fixed(program: Program) -> tuple[Program, NDArray[np.bool_], NDArray[np.bool_]]:
    """Leave out fixed columns and the rows that have no other; also return masks of what is kept."""
    free = program.lower < program.upper
    inside = free[program.columns] & (program.values != 0)
    kept = np.zeros(program.row_lower.size, dtype=bool)
    kept[program.rows[inside]] = True
    used = program.row_values(np.where(free, 0.0, program.lower))
    small = replace(
        program,
        cost=program.cost[free],
        lower=program.lower[free],
        upper=program.upper[free],
        integer=program.integer[free],
        rows=(np.cumsum(kept) - 1)[program.rows[inside]],
        columns=(np.cumsum(free) - 1)[program.columns[inside]],
        values=program.values[inside],
        row_lower=(program.row_lower - used)[kept],
        row_upper=(program.row_upper - used)[kept],
        slots=int(free[: program.slots].sum()),
    )
    return small, free, kept


def run_highs(program: Program, time_limit_s: float = 60.0) -> Answer:
    """Solve with HiGHS through scipy.

    Parameters
    ----------
    program : Program
        Linear or mixed-integer.
    time_limit_s : float
        For mixed-integer programs.

    Returns
    -------
    Answer

    Raises
    ------
    SolverError
        If HiGHS gives no solution that keeps the limits.
    """
    for name in ("cost", "lower", "upper", "values"):
        if not np.isfinite(getattr(program, name)).all():
            raise SolverError(f"the program has a {name} that is not a finite number")
    small, free, kept = without_fixed(program)
    x = program.lower.copy()
    duals = np.zeros(program.row_lower.size)
    if small.cost.size:
        run = _highs_integer if small.integer.any() else _highs_linear
        answer = run(small, time_limit_s)
        x[free] = np.clip(answer.x, small.lower, small.upper)
        if answer.row_duals is not None:
            duals[kept] = answer.row_duals
    _check(program, x, "HiGHS")
    return Answer(x, None if program.integer.any() else duals)


def _check(program: Program, x: Floats, name: str) -> None:
    worst = program.violation(x)
    if not worst <= _ACCEPTED:
        raise SolverError(f"{name} gave a solution that breaks a limit by {worst:.3g}; try another solver")


def _matrix(program: Program) -> Any:
    from scipy.sparse import csr_array

    shape = (program.row_lower.size, program.cost.size)
    return csr_array((program.values, (program.rows, program.columns)), shape=shape)


def _highs_linear(program: Program, time_limit_s: float) -> Answer:
    from scipy.optimize import linprog

    matrix = _matrix(program)
    equal = program.row_lower == program.row_upper
    above = np.isfinite(program.row_upper) & ~equal
    below = np.isfinite(program.row_lower) & ~equal
    sides: dict[str, Any] = {}
    if equal.any():
        sides |= {"A_eq": matrix[equal], "b_eq": program.row_lower[equal]}
    if above.any() or below.any():
        from scipy.sparse import vstack

        sides["A_ub"] = vstack((matrix[above], -matrix[below]))
        sides["b_ub"] = np.concatenate((program.row_upper[above], -program.row_lower[below]))
    bounds = np.column_stack((program.lower, program.upper))
    result = None
    for presolve in (True, False):  # presolve has called feasible programs infeasible before
        options = {
            "presolve": presolve,
            "primal_feasibility_tolerance": _HIGHS_TOLERANCE,
            "dual_feasibility_tolerance": _HIGHS_TOLERANCE,
        }
        result = linprog(program.cost, bounds=bounds, method="highs", options=options, **sides)
        if result.status == 0 and result.x is not None:
            break
    else:
        raise SolverError(f"HiGHS found no plan: {result.message if result is not None else ''}")
    # scipy's marginals are d(cost)/d(right side); a lower limit was handed over with its sign turned.
    duals = np.zeros(equal.size)
    duals[equal] = result.eqlin.marginals
    duals[above] = result.ineqlin.marginals[: int(above.sum())]
    duals[below] -= result.ineqlin.marginals[int(above.sum()) :]
    return Answer(np.asarray(result.x), duals)


def _highs_integer(program: Program, time_limit_s: float) -> Answer:
    from scipy.optimize import Bounds, LinearConstraint, milp

    result = milp(
        program.cost,
        integrality=program.integer.astype(int),
        bounds=Bounds(program.lower, program.upper),
        constraints=LinearConstraint(_matrix(program), program.row_lower, program.row_upper),
        options={"mip_rel_gap": 0.0, "time_limit": time_limit_s},
    )
    if result.status != 0 or result.x is None:
        raise SolverError(f"HiGHS did not finish the search for the fewest starts: {result.message}")
    return Answer(np.where(program.integer, np.round(result.x), result.x), None)


def search_highs(program: Program, time_limit_s: float = 60.0) -> Found:
    """Search with HiGHS through scipy, and give what is known when the time is over.

    Parameters
    ----------
    program : Program
        Mixed-integer or linear.
    time_limit_s : float
        For the search.

    Returns
    -------
    Found

    Raises
    ------
    SolverError
        If HiGHS ends in another way than with a solution, without one, or at its limit.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    small, free, _ = without_fixed(program)
    base = float(program.cost @ np.where(free, 0.0, program.lower))
    if not small.cost.size:
        good = program.violation(program.lower) <= _ACCEPTED
        return Found(program.lower.copy(), base, closed=True) if good else Found(None, np.inf, closed=True)
    # HiGHS ends at a gap of 1e-6 whatever the unit, so the objective is handed over in thousands of its largest.
    unit = max(float(np.abs(small.cost).max()), 1e-12) / 1e3
    for presolve in (True, False):  # presolve has called feasible programs infeasible before
        with _silence():  # some builds of HiGHS leave a line of their own on standard output
            result = milp(
                small.cost / unit,
                integrality=small.integer.astype(int),
                bounds=Bounds(small.lower, small.upper),
                constraints=LinearConstraint(_matrix(small), small.row_lower, small.row_upper),
                options={"mip_rel_gap": 0.0, "time_limit": max(time_limit_s, 0.0), "presolve": presolve},
            )
        if result.status not in (2, 4):
            break
    if result.status == 2:
        return Found(None, np.inf, closed=True)
    if result.status not in (0, 1):
        raise SolverError(f"HiGHS did not finish its search: {result.message}")
    dual = result.get("mip_dual_bound")
    bound = -np.inf if dual is None or not np.isfinite(dual) else base + unit * float(dual)
    if result.x is None:
        return Found(None, bound, closed=False)
    x = program.lower.copy()
    x[free] = np.clip(np.where(small.integer, np.round(result.x), result.x), small.lower, small.upper)
    if result.status == 0 and not small.integer.any():
        bound = float(program.cost @ x)
    return Found(x, bound, closed=result.status == 0)


def search_pulp(program: Program, name: str, time_limit_s: float = 60.0) -> Found:
    """Search with a solver that PuLP drives, and give what is known when the time is over.

    Parameters
    ----------
    program : Program
        Mixed-integer or linear.
    name : str
        As for `pulp_solver`.
    time_limit_s : float
        Handed to the solver.

    Returns
    -------
    Found
        PuLP hands no bound over: it is the objective where the solver calls it optimal.

    Raises
    ------
    SolverError
        If the solver fails.
    """
    import pulp

    solver = pulp_solver(name, max(time_limit_s, 1.0))
    small, free, _ = without_fixed(program)
    x = program.lower.copy()
    if not small.cost.size:
        return search_highs(program)
    with _silence():
        model, variables, _ = _pulp_model(small)
        try:
            status = model.solve(solver)
        except pulp.PulpError as error:
            raise SolverError(f"{name} failed: {error}") from error
    if status == pulp.LpStatusInfeasible:
        return Found(None, np.inf, closed=True)
    values = [variable.varValue for variable in variables]
    if status != pulp.LpStatusOptimal or None in values:
        return Found(None, -np.inf, closed=False)
    found = np.array(values, dtype=np.float64)
    x[free] = np.clip(np.where(small.integer, np.round(found), found), small.lower, small.upper)
    closed = model.sol_status == pulp.LpSolutionOptimal
    return Found(x, float(program.cost @ x) if closed else -np.inf, closed=closed)


def pulp_solver(name: str, time_limit_s: float = 60.0) -> Any:
    """Find a solver that PuLP drives, by its name in PuLP; "CBC" means the one PuLP brings.

    Parameters
    ----------
    name : str
        As in ``pulp.listSolvers()``, or "CBC".
    time_limit_s : float
        Handed to the solver.

    Raises
    ------
    InputError
        If PuLP knows no such solver, or it is not installed here.
    """
    import pulp

    with _silence():
        known = sorted(set(pulp.listSolvers()))
        wanted = ["PULP_CBC_CMD", "COIN_CMD"] if name == "CBC" else [name]
        for candidate in wanted:
            if candidate in known:
                solver = pulp.getSolver(candidate, msg=False, timeLimit=time_limit_s)
                if solver.available():
                    return solver
    if name == "CBC" or name in known:
        raise InputError(f"solver pulp:{name} is not installed here; install it, or choose auto, highs or pulp:CBC")
    raise InputError(f"PuLP knows no solver {name!r}; choose CBC or one of {', '.join(known)}")


def run_pulp(program: Program, name: str, time_limit_s: float = 60.0) -> Answer:
    """Solve with a solver that PuLP drives; nothing is printed.

    Parameters
    ----------
    program : Program
        Linear or mixed-integer.
    name : str
        As for `pulp_solver`.
    time_limit_s : float
        Handed to the solver.

    Returns
    -------
    Answer

    Raises
    ------
    InputError
        If there is no such solver.
    SolverError
        If it gives no solution that is called optimal and keeps the limits.
    """
    import pulp

    solver = pulp_solver(name, time_limit_s)
    small, free, kept = without_fixed(program)
    x, duals = program.lower.copy(), np.zeros(program.row_lower.size)
    if small.cost.size:
        with _silence():
            model, variables, constraints = _pulp_model(small)
            try:
                status = model.solve(solver)
            except pulp.PulpError as error:
                raise SolverError(f"{name} failed: {error}") from error
        # A time limit is reported as status "Optimal", so the status of the solution is asked as well.
        values = [variable.varValue for variable in variables]
        if status != pulp.LpStatusOptimal or model.sol_status != pulp.LpSolutionOptimal or None in values:
            raise SolverError(f"{name} found no optimal plan: {pulp.LpStatus.get(status, status)}")
        live: Any = getattr(model, "solverModel", None)
        if hasattr(live, "getModelStatus") and "kOptimal" not in str(live.getModelStatus()):
            raise SolverError(f"{name} stopped before the optimum: {live.getModelStatus()}")
        found = np.array(values, dtype=np.float64)
        x[free] = np.clip(np.where(small.integer, np.round(found), found), small.lower, small.upper)
        duals[kept] = [0.0 if row.pi is None else row.pi for row in constraints]
    _check(program, x, name)
    return Answer(x, None if program.integer.any() else duals)


def _pulp_model(program: Program) -> tuple[Any, list[Any], list[Any]]:
    """Build the PuLP model with plain names, and keep hold of its variables and constraints."""
    import pulp

    model = pulp.LpProblem("chargeplan", pulp.LpMinimize)
    kind = np.where(program.integer, pulp.LpInteger, pulp.LpContinuous).tolist()
    names = [f"y{i}" if i < program.slots else f"v{i - program.slots}" for i in range(program.cost.size)]
    bounds = zip(names, program.lower.tolist(), program.upper.tolist(), kind, strict=True)
    variables = [model.add_variable(name, lower, upper, cat) for name, lower, upper, cat in bounds]
    model.setObjective(pulp.LpAffineExpression(list(zip(variables, program.cost.tolist(), strict=True))))
    order = np.argsort(program.rows, kind="stable")
    bounds_of_row = np.searchsorted(program.rows[order], np.arange(program.row_lower.size + 1)).tolist()
    columns, values = program.columns[order].tolist(), program.values[order].tolist()
    limits = zip(program.row_lower.tolist(), program.row_upper.tolist(), strict=True)
    constraints = []
    for number, (lower, upper) in enumerate(limits):
        here = range(bounds_of_row[number], bounds_of_row[number + 1])
        terms = pulp.LpAffineExpression([(variables[columns[k]], values[k]) for k in here])
        if lower == upper:
            sense, limit = pulp.LpConstraintEQ, upper
        else:  # every row of ours has one limit, unless it is an equation
            sense, limit = (pulp.LpConstraintLE, upper) if np.isfinite(upper) else (pulp.LpConstraintGE, lower)
        constraint = pulp.LpConstraint(terms, sense, f"r{number}", limit)
        model.addConstraint(constraint)
        constraints.append(constraint)
    return model, variables, constraints


def write_program(program: Program, path: str | Path) -> Path:
    """Write a program for other solvers, whole or not at all.

    Parameters
    ----------
    program : Program
        Linear or mixed-integer.
    path : path
        Ends in .lp or .mps.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        If the ending is another one, or the file cannot be written.
    """
    target = Path(path)
    if target.suffix not in (".lp", ".mps"):
        raise InputError(f"{target.name} must end in .lp or .mps")
    temporary = target.with_name(f".{target.stem}.{os.getpid()}{target.suffix}")
    try:
        with _silence():
            model, _, _ = _pulp_model(program)
            model.writeLP(str(temporary)) if target.suffix == ".lp" else model.writeMPS(str(temporary))
        temporary.replace(target)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(f"{target} cannot be written: {reason}; choose another name") from error
    finally:
        with suppress(OSError, ValueError):
            temporary.unlink(missing_ok=True)
    return target


@contextmanager
def _silence() -> Iterator[None]:
    """Keep standard output clean at the level of file descriptors, and PuLP's notices on version 4 out.

    HiGHS prints a banner before it can be told not to; it would end up in the middle of a CSV.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        with suppress(OSError, ValueError):
            sys.stdout.flush()
        try:
            saved = os.dup(1)
        except OSError:  # no standard output to keep clean
            yield
            return
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, 1)
            yield
        finally:
            with suppress(OSError, AttributeError, TypeError):
                ctypes.CDLL(None).fflush(None)  # what C still holds back goes nowhere too
            os.dup2(saved, 1)
            os.close(saved)
            os.close(nowhere)
