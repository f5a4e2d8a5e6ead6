"""Results as they are given out: each figure declared once, from which JSON, tables and text are made."""
