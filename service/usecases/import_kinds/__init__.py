"""What can be imported, one module a kind, and the registry of them."""
