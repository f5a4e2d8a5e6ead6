"""Pictures, charts, records and pages made of results; no geometry is computed here."""
