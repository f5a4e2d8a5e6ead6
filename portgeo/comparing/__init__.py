"""Before and after: where a port was cut, how deep, how much metal came out, and whether runners match."""
