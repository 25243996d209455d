"""One file a migration; names start with a date."""
