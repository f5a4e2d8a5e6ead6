"""The library's front door, room by room: ports in and out, what is measured, cuts, air. `portgeo` offers it."""
