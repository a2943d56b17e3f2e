"""Plans, prices and checks as text, JSON and CSV; needs no solver."""
