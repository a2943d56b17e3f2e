"""Drafts of rate sheets from data that somebody else published."""
