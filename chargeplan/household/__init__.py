"""The household file in; tonight's plan and the plan of the coming days out."""

from chargeplan.household.household import Household, load_household, read_household
from chargeplan.household.planning import HouseholdPlan, plan_days, plan_tonight

__all__ = ["Household", "HouseholdPlan", "load_household", "plan_days", "plan_tonight", "read_household"]
