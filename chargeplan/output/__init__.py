"""Being written."""
