"""The heart: arrays in, arrays out. Which slots to charge in, why nothing is cheaper, and what else it would cost."""

from chargeplan.plan.certificate import Certificate, certify
from chargeplan.plan.merit_order import merit_order, merit_order_nights
from chargeplan.plan.preconditioning import Preconditioning
from chargeplan.plan.problem import Problem, night, problem_from
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.remedies import Fix
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.schedule import Departure, Schedule, plan
from chargeplan.plan.solvers import SOLVERS, TIE_BREAKS, Solution, solve, write_model
from chargeplan.plan.spells import Spell
from chargeplan.plan.stops import Drive, Itinerary, Stay
from chargeplan.plan.unmanaged import Unmanaged
from chargeplan.plan.windows import Window

__all__ = [
    "SOLVERS",
    "TIE_BREAKS",
    "Certificate",
    "ChargerRules",
    "Departure",
    "Drive",
    "Fix",
    "Itinerary",
    "Preconditioning",
    "Problem",
    "Reach",
    "Schedule",
    "Solution",
    "Spell",
    "Stay",
    "Unmanaged",
    "Window",
    "certify",
    "merit_order",
    "merit_order_nights",
    "night",
    "plan",
    "problem_from",
    "reach",
    "solve",
    "write_model",
]
