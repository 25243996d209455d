"""The catch log as files: lines that an import takes back, sheets for spreadsheets, a Darwin Core archive."""
