"""Several cars on one panel: who charges when, with which current, so that no limit in the tree is exceeded."""

from chargeplan.plan.shared.bound import Proposals, Values
from chargeplan.plan.shared.car import SharedCar, shared_grid_s
from chargeplan.plan.shared.certificate import SharedCertificate, certify_shared
from chargeplan.plan.shared.laying import lay_out
from chargeplan.plan.shared.plan import SharedDeparture, SharedPlan, plan_shared
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.search import SharedSolution, solve_shared

__all__ = [
    "Proposals",
    "SharedCar",
    "SharedCertificate",
    "SharedDeparture",
    "SharedPlan",
    "SharedProblem",
    "SharedSolution",
    "Values",
    "certify_shared",
    "lay_out",
    "plan_shared",
    "shared_grid_s",
    "solve_shared",
]
