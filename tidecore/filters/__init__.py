"""Filters over the columns of a timeline."""
