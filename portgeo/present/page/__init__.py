"""The report's page."""
