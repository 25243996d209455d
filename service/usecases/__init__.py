"""What callers can ask for, one module a resource: open a unit of work, call tidecore, commit."""
