"""Photographs taken over a printed frame: marks found, camera and paper worked out, outlines traced in true size."""
