"""Prices electric-car charging on time-of-use rates and plans the cheapest hours."""
