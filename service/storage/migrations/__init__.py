"""The migrations, run from the package itself."""
