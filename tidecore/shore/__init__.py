"""The ground of a mark and the water on it."""
