"""Files of rows: NDJSON, CSV and GeoJSON in, one plain document a row out, never the whole file at once."""
