"""Results for a person: text, page, paper and pictures; no geometry."""
