"""Air through a port: bench data, mean speeds, the wall-speed solution, demand and power.

Everything here is ideal flow through a measured shape; it stands in for no flow bench.
"""
