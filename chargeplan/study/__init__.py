"""A year of plans: which rate, which equipment, which habit."""
