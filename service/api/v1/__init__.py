"""Version 1 of the API: one thin router a resource."""
