"""Planning a cut: what is wanted, what stands in its way, the least cut that does it, how to reach it."""
