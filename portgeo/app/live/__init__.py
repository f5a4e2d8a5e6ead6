"""The page to type into: one job on the desk of one person, served to a browser on this machine alone."""
