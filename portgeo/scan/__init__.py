"""A mold scan, as it comes off the scanner, to a Port: repair, openings, cut, centreline, pose."""

from portgeo.scan.options import ScanOptions
from portgeo.scan.port import port_from_scan, read_scan
from portgeo.scan.size import judge_unit, scale_factor, scale_share

__all__ = ["ScanOptions", "judge_unit", "port_from_scan", "read_scan", "scale_factor", "scale_share"]
