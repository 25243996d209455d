"""Forms other than JSON: pure functions from series and tables to bytes, media type and file name."""
