"""A job -> its steps -> their results, kept by what they were made of -> the files of the report."""
