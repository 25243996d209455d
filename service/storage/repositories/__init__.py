"""The queries, one module a kind of thing; nobody else asks the database."""
