"""Forecasts and observations of sea and air, and what follows from them."""
