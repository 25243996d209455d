"""A private PostgreSQL cluster, and what is promised of a store in it."""
