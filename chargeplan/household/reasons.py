"""The reasons for a household's plan: planned anew the way it was, against the same bill."""

from __future__ import annotations

from collections.abc import Sequence

from chargeplan.household.planning import HouseholdPlan, bills_of
from chargeplan.plan.instead import Again, Preferred, plan_again
from chargeplan.plan.problem import problem_from
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.stops import Itinerary
from chargeplan.plan.tied_reasons import MOST_STRETCHES
from chargeplan.plan.why import LIMIT_S, Why, explain


def explain_plan(
    plan: HouseholdPlan,
    stays: Sequence[int] | None = None,
    *,
    most: int = MOST_STRETCHES,
    limit_s: float = LIMIT_S,
) -> Why:
    """Find the reasons for a plan.

    Parameters
    ----------
    plan : HouseholdPlan
        Tonight's or the coming days'.
    stays : sequence of int, optional
        For which stays to tell what a little more or less would change; all without it.
    most : int
        Most stretches of hours for which other plans are made, where hours depend on one another.
    limit_s : float
        Longest time for these.

    Returns
    -------
    Why

    Examples
    --------
    >>> from chargeplan.household import load_household, plan_tonight
    >>> found = explain_plan(plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00"))
    >>> [stretch.reason for stretch in found.stretches]
    ['dear', 'last', 'equal', 'dear']
    """
    return explain(
        plan.schedule,
        tuple(range(len(plan.itinerary.stays)) if stays is None else stays),
        usable_kwh=plan.household.vehicle.usable_kwh,
        again=planner_of(plan),
        most=most,
        limit_s=limit_s,
    )


def planner_of(plan: HouseholdPlan) -> Again:
    """Give what plans another itinerary the way a plan was made.

    Parameters
    ----------
    plan : HouseholdPlan
        The plan.

    Returns
    -------
    Again
    """
    step_min = plan.schedule.problem.step_s // 60
    by_the_hour = plan_again(step_min)
    if not plan.schedule.whole_bill:
        return by_the_hour

    def against_the_bill(
        itinerary: Itinerary, *, preferred: Preferred | None = None, time_limit_s: float = 60.0
    ) -> Schedule:
        from chargeplan.plan.billed_schedule import plan_billed

        asked = itinerary if preferred is None else preferred.on(itinerary, 60 * step_min)
        problem = problem_from(asked, step_min)
        bills = bills_of(plan.household, asked, problem, plan.now_s)
        return plan_billed(asked, problem, bills if preferred is None else preferred.on_bills(bills))

    return against_the_bill
