"""The house rules: what a rule worth stating is held by."""
