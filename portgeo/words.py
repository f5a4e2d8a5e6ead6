"""The words of every notice: a sentence for each code, and for each case of a code that has several.

A code comes in; its sentence goes out, with fields such as ``{station:length}`` for the notice's values. What follows
the colon is the kind of value (`core.notices.KINDS`) or a Python format; ``{count:hole|holes}`` counts. This module
imports nothing of the package: no other holds an English sentence for a notice, and this one holds no numbers.
"""

from __future__ import annotations

import re

SENTENCES: dict[str, str | dict[str, str]] = {
    # A sheet, as it was filled in
    "no_heading": "no turn or swing is read (turn_deg, swing_deg): the port was taken as straight",
    "tool_rule": {
        "all": "readings were taken as an inside micrometer's, all with one zero; if not, say so in the column tool "
        "({tools:either})",
        "some": "where no tool is named, readings were taken as an inside micrometer's, all with one zero; if not, "
        "say so in the column tool ({tools:either})",
    },
    "corner_missing": "no corner radius in {rows:rows} ({stations:stations}): taken as sharp, which makes the area "
    "too large",
    "set_copy": "runners {runners:listed} hold the same, number for number: was one copied in place of another?",
    "set_spacing": "the centers of runners {runners:listed} are {spacing:length} apart, and the two are "
    "{width:length} wide on average past their entries' edges, so they run into each other: is the spacing "
    "from center to center?",
    "leg_swing": {
        "left": "leg {leg} lies on the left at the split and ends swung {angle:angle} to the right of the trunk: has "
        "its swing_deg the right sign? To the left is negative",
        "right": "leg {leg} lies on the right at the split and ends swung {angle:angle} to the left of the trunk: has "
        "its swing_deg the right sign? To the right is positive",
    },
    "set_few_rows": "single areas are known to ± {share:.1%} on average, which hides how the runners differ: add rows "
    "between {start:length} and {end:length}, where they are known least",
    "unit_doubt": "the largest section measures {largest:length}, odd for a port: are the readings really in "
    "{unit:unit}?",
    "swapped": "row {row} at {station:length}: height and width look swapped. It reads {height:length} high and "
    "{width:length} wide; the rows next to it make it {beside_height:length} high and {beside_width:length} wide",
    "exchanged": {
        "sheets": "heights and widths look exchanged in one of the two sheets: at {station:length} BEFORE reads "
        "{height:length} high and {width:length} wide, AFTER {other_height:length} high and {other_width:length} wide. "
        "Check which has the two columns the wrong way round",
        "gasket": "heights and widths look exchanged: the port's {end} is {height:length} high and {width:length} "
        "wide, the gasket's opening {other_height:length} high and {other_width:length} wide. Check the two columns of "
        "the sheet, and how the gasket was drawn",
    },
    "along_the_roof": "the stations run along the roof: they end at {last:length}, the roof is {roof:length} long and "
    "the middle {middle:length}. Measure stations along the middle",
    "rise_left": "{rows:row|rows} grew in height (by up to {grown:length}, at {station:length}) with the rise left as "
    "it was, so half of that counts as cut from the roof and half from the floor. If only the floor was cut, take "
    "half of what the height grew off the rise; if only the roof, add half",
    "one_leg": "the port splits, and all that takes one passage is of its leg {leg}; for {others:either} write "
    'leg = "{other}" in its [[stage]]',
    "turns_to_roof": "the port turns toward what the sheet calls the {wall:wall}, so the short side is on that wall",
    "turns_to_side": "the port turns toward what the sheet calls the {wall:wall}, so the short side is on that wall",
    "throat_unmarked": "no row is marked throat, so percentages are of {area:area} at {station:length}, the minimum "
    "within a diameter of the {end}; write throat in that row's column mark, or give throat_diameter",
    "throat_differs": {
        "marked": "the valve's throat is given as {given:length}, but the port measures {measured:length} at the row "
        "marked throat (circle of its area), {off:+.0%}: measure it again; until then {counts} counts",
        "unmarked": "the valve's throat is given as {given:length}, but the port measures {measured:length} at its "
        "minimum near the valve (circle of its area; no row is marked throat), {off:+.0%}: measure it again; until "
        "then {counts} counts",
    },
    # The shape
    "pinch": "pinch at {station:length}: the area there, {area:area}, is {share:.1%} under both sides of it (limit "
    "{limit:.0%})",
    "taper_reverses": "the taper reverses at {station:length}: the area there, {area:area}, is {share:.1%} over both "
    "sides of it (limit {limit:.0%})",
    "sudden_change": {
        "opens": "the area opens too fast from {start:plain_length} to {end:length}: like a cone of "
        "{half_angle:angle} half-angle (limit {limit:angle}, common practice)",
        "closes": "the area closes too fast from {start:plain_length} to {end:length}: like a cone of "
        "{half_angle:angle} half-angle (limit {limit:angle}, common practice)",
    },
    "dam": "dam on the {wall:wall} line at {station:length}: it rises {height:length} over {length:length} (limit "
    "{limit:length})",
    "cuts_itself": "the mesh passes through itself in {share:.0%} of its sections, from {start:plain_length} to "
    "{end:length}: areas there count the overlap twice",
    # How sure the figures are, and what would help
    "unsure": "{quantity}: good only to ± {share:.0%}; to improve it, {advice}",
    "advice": {
        "points": "read the floor and roof points at {station:length} again, to a quarter of a millimeter if you can, "
        "and add sections in the bend: they make {share:.0%} of the ±",
        "gap": "add a row between {start:plain_length} and {end:length}: what the port does there, unmeasured, makes "
        "{share:.0%} of the ±",
        "shared": "caliper the height and the width of a few sections, and write those in: what all readings share "
        "(zero_error) makes {share:.0%} of the ±",
        "zero": "check the zero of the {tools:listed} on a ring or a block before you go on: it makes {share:.0%} of "
        "the ±",
        "angle": "measure the {measure} at {station:length} again: known to {error:angle}, it makes {share:.0%} of "
        "the ±",
        "angles": "measure the {measure} angles again, first at {station:length}, with a gauge if you can, and add "
        "rows in the bend: known to {error:angle} each, they make {share:.0%} of the ±",
        "reading": "read the {measure} at {station:length} again, twice if you can: it makes {share:.0%} of the ±",
        "corner": "try the next template up and down on the {measure} at {station:length}: it makes {share:.0%} of "
        "the ±",
        "station": "measure the station at {station:length} again: it makes {share:.0%} of the ±",
        "readings": "read again, twice if you can, starting with the {measure} at {station:length}: single readings "
        "make {share:.0%} of the ±",
    },
    # A scan, as it was read
    "unit_judged": {
        "mm": "{file} does not give its unit; taken as mm from its size ({as_mm:.3g} mm at its longest; in inches it "
        "would be {as_inches:.4g} mm). Pass --units-in if it is in inches",
        "in": "{file} does not give its unit; taken as inches from its size ({as_inches:.4g} mm at its longest; in mm "
        "it would be {as_mm:.3g} mm). Pass --units-in if it is in mm",
    },
    "unit_contradicted": "the file says its numbers are in {stated:unit}; taken as {unit:unit}",
    "scale_exact": "the scan's scale is taken as exact: no ± here includes the scanner's scale error or the mold's "
    "shrinkage. Pass --scale-error-percent P if you know how good it is",
    "degenerate_dropped": "{count:triangle|triangles} with no area left out",
    "duplicates_dropped": "{count:doubled triangle|doubled triangles} left out",
    "fins_dropped": "{count:triangle|triangles} standing off the surface left out",
    "debris_dropped": "{count:loose piece|loose pieces} beside the mold left out ({triangles:triangle|triangles}, "
    "{area:area})",
    "edges_joined": "{count:point|points} along open edges joined to those next to them",
    "winding_mended": "{count:triangle|triangles} facing the wrong way turned around",
    "turned_outward": "the mesh was inside out; its faces were turned outward",
    "holes_closed": "{count:hole|holes} closed by carrying on the wall around them: {made:area} filled in, "
    "{share:.2%} of the surface, the largest {widest:area}",
    "legs_cut": "a branch of the mold, {thick:length} thick and {length:length} long, was cut off where it leaves the "
    "port, near {place:place}, and the wall closed there",
    "stem_taken_off": "a round stem {diameter:length} thick on the exit's axis, which the mold does not have, was "
    "taken off",
    "spill_cut": "the {end} was cut at the flange face; what spilled over it was left out",
    "seat_cut": "the {end} was cut square where the tube opens all at once (a seat, a chamber)",
    "end_trimmed": "the {end} is not flat; it was cut square at the last whole section, {lost:length} short of its end",
    "end_not_flat": "the {end} is out of flat by {band:length}: its area was read {inset:length} inside it, where the "
    "tube is whole, and the tube carried on to the plane its wall ends in",
    "opening_oblique": "the {end} is {tilt:angle} (± {doubt:angle}) out of square to the tube: its area is the "
    "slanted one",
    "planes_relaxed": {
        "eased": "from {start:plain_length} to {end:length} the turn is so tight that sections square to the middle "
        "of the port would cross inside it: they were eased apart there",
        "crossing": "from {start:plain_length} to {end:length} the turn is so tight that sections square to the "
        "middle of the port cross inside it, even eased apart: areas there are less sure",
    },
    "entry_rule": {
        "given": "the entry is where --entry or --exit puts it",
        "sum": "the entry is the opening that is as large as the others together",
        "rounder": "the entry is the opening that is less round: a valve throat is the rounder end",
        "larger": "the entry is the larger opening; both are equally round",
        "straighter": "the entry is the opening with the longer straight run; both are equally round and large",
    },
    "entry_unsure": "nothing tells the two openings apart, so one was picked as the entry; pass --entry X,Y,Z if it "
    "is the other",
    "roof_rule": {
        "given": "the roof is where --up points",
        "turn": "the roof is the outside of the turn",
    },
    "roof_unsure": "the port is straight, so no turn shows the roof; it was put along the entry's longer axis. Pass "
    "--up X,Y,Z if it is elsewhere",
    "roof_unsure_split": "the port is straight, so no turn shows the roof; it was put square to the plane of the legs, "
    "and left and right may be the other way round. Pass --up X,Y,Z if the roof is elsewhere",
    # Two stages, or two parts
    "little_uncut_surface": "only {share:.0%} of the wall agrees between the two: too little uncut surface is left to "
    "line them up by. Name a surface that was not machined (--align fixed), or use --align none if both files share "
    "one frame",
    "loose_fit": "the fit may slide by {loose:length}: the surface it rests on does not hold it in every direction",
    "held_by_openings": "the wall alone does not fix how far in the two sit, so they were lined up by the planes of "
    "the openings: if an opening was faced, or the mold cut off elsewhere, stations move by as much",
    "told_by_openings": "by the wall alone the two line up in more than one place, so they were lined up by the "
    "planes of the openings, and which wall was cut, and how deep, hangs on that. If an opening was faced, or the "
    "mold cut off elsewhere, name wall that nobody cut (--align fixed --box)",
    "fits_in_two_places": "which wall was cut is not certain: as lined up the {here:wall} agrees, but moved "
    "{apart:length} the {there:wall} agrees as well, so the cut may be on either or on both. The total removed holds; "
    "each wall's depth and metal have a wide ±. Name wall that nobody cut (--align fixed --box), or use --align none "
    "if both files share one frame",
    "other_hand": "mirrored, {mirrored:.0%} of AFTER's wall agrees; as it is, {as_is:.0%}. One of the two may be the "
    "other hand, or mirrored by mistake",
    "smaller_after": "AFTER is smaller: {added:volume} of metal was added and {removed:volume} removed. Either the "
    "port was filled, or the two files are in the wrong order",
    "ends_differ": "the two do not end in the same places: what one has beyond the other ({before:length} of BEFORE, "
    "{after:length} of AFTER) is left out of the comparison and of every volume here",
    "poor_agreement": "where they should match the two differ by {rms:length} (rms), more than noise explains",
    "two_states": "the two parts are alike all along. If they are two stages of one port, use `portgeo compare`: here "
    "the exit of the first meets the entry of the second",
    # Air
    "joint_step": {
        "opens": "at the joint ({station:length}) the area steps from {before:plain_area} to {after:area}; the wall "
        "speeds take the step as a short ramp",
        "lip": "at the joint ({station:length}) the area steps from {before:plain_area} to {after:area}; the wall "
        "speeds take the step as a short ramp, and a lip that faces the flow costs more than that shows",
    },
    "boss_left_out": {
        "air": "something stands in the stream (a guide boss): mean speeds have its area taken off, wall speeds are "
        "worked out without it",
        "target": "the guide boss and stem could not be put into the target mesh, so the mesh and its figures hold "
        "more than you will cc; the volumes and areas of the cut sheet have them taken off",
    },
    "more_than_the_depression": "the mean speed at the minimum area ({station:length}) would be {mean:speed}, more "
    "than the {ideal:speed} that {depression:pressure} gives with no loss: check flow, depression and the readings "
    "there",
    "compressible": "Mach {mach:.2f} at the minimum area: past Mach {limit:.2f} the true mean speed is more than "
    "{share:.0%} over flow divided by area; mean speeds and wall speeds allow for it",
    "mach_mean": "mean Mach {mach:.2f} at {station:length}: past about {limit:g} a port is close to choking, and "
    "friction, which is left out here, decides. Use these speeds only to see where the trouble is",
    "mach_local": "on the wall at {station:length} this flow would pass the speed of sound ({speed:speed}; Mach 1 "
    "there is {sonic:speed}): real air shocks and leaves the wall, so do not trust the speeds near there",
    "exhaust": "engine demand and power are worked out for intake ports only",
    "bench_state_unknown": "rows {first} to {last} are of a stage '{name}', and no [[stage]] has that name: they are "
    'not counted for any stage of the port. Give both one name, or write  bench_run = "{name}"  in the [[stage]] '
    "that they are of",
    "loss_mach": "{name}: Mach {mach:.2f} at the minimum area. Past Mach {limit:.2f} air thins out by more than 5%. "
    "That is left out here, so the loss shown is too low. Compare ports with it; do not trust the figure itself",
    "loss_swings": "not every solution came to rest: the air may swing back and forth where it leaves the wall. What "
    "the loss still moved counts in its ±",
    # The cut
    "wall_thin": "the wall is already thinner than the {limit:length} to leave at {count:reading|readings}, the "
    "thinnest {thickness:length} at station {station:length}, {clock:clock}: do not cut there",
    "smaller_than_today": "the port to copy is smaller in places, by up to {by:length} at station {station:length}, "
    "{clock:clock}; metal cannot be put back",
    "boss_kept": "the guide boss and stem stay as they are in the target mesh, so it holds what you should cc; the "
    "cut goes around the boss at its root: if that may not be touched, name it under [[keep]]",
    "not_optimal": "this cut may take up to {gap:.1%} more than the best one; the solver got no closer",
    "stop": {
        "unmeasured": "do not cut: no wall reading nearby; sonic-test there first",
        "far": "the nearest wall reading is too far off to allow more than {depth:length}",
        "none": "{limit} allows no cut",
        "depth": "{limit} stops the cut at {depth:length}",
    },
    "area_missed": {
        "one": "station {station:length}, {clock:clock}: {stop}; target area missed by {short:.1%} ({area:plain_area} "
        "of {wanted:area})",
        "several": "station {station:length}, {clock:clock}: {stop}; target area missed by {short:.1%} "
        "({area:plain_area} of {wanted:area}); each alone costs: {costs:shares}",
    },
    "area_over": {
        "already": "station {station:length}: the area comes out {over:.1%} over the target ({area:plain_area} for "
        "{wanted:area}); the port is that large already",
        "for_good": "station {station:length}: the area comes out {over:.1%} over the target ({area:plain_area} for "
        "{wanted:area}); the port is that large already and metal cannot be put back",
        "needed": "station {station:length}: the area comes out {over:.1%} over the target ({area:plain_area} for "
        "{wanted:area}); the short side or the shape asked for takes more there",
        "slip": "station {station:length}: the area there is now {area:area}, more than twice the {wanted:area} asked "
        "for: check it and its unit",
        "inches": "station {station:length}: the area there is now {area:area}, more than twice the {wanted:area} "
        "asked for; is that in square inches?",
    },
    # Calming the air
    "calm_already": "the air is calm already: the most that metal can take off its peak, {gain:speed}, is within the "
    "± {u:speed} of that figure. Cut nothing for the air",
    "calm_held": "nothing may be cut: {name} holds the whole wall",
    "calm_no_radius": "the short side's radius in {file} was not asked for: this looks for the cut that calms the air "
    "most; portgeo reshape cuts to a radius",
    "calm_areas": "areas in {file} were taken as the most there may be at their stations",
    "calm_out_of_reach": "no cut within the limits brings the peak down to {wanted:speed}; the one with the most metal "
    "was taken",
    "calm_metal_short": "{metal:volume} were asked for; past {most:volume} metal buys nothing more, and that was taken",
    "calm_apart": "the peak now is {followed:speed} here and {alone:speed} by portgeo airspeed, more apart than the "
    "± {u:speed} of that: go by how much it falls, not by the peak itself",
    "short_side_missed": {
        "limit": "short side: {radius:plain_length} of the {wanted:length} radius wanted; at station "
        "{station:length}, {clock:clock}, {stop}",
        "limit_uncut": "short side: not opened toward the {wanted:length} radius wanted; at station {station:length}, "
        "{clock:clock}, {stop}",
        "stations": "short side: {radius:plain_length} of the {wanted:length} radius wanted; a bigger radius does not "
        "fit between the stations allowed",
        "stations_uncut": "short side: not opened toward the {wanted:length} radius wanted; a bigger radius does not "
        "fit between the stations allowed",
    },
    "short_side_there": "the short side already has the {wanted:length} radius wanted",
    "dam_made": "the cut makes a dam on the {wall:wall} line at {station:length}: ahead of it the {wall:wall} is cut "
    "{step:length} deeper than there (limit {limit:length}); cut it there too, or let the other walls share the cut",
    "past_limit": "station {station:length}, {clock:clock}: {by:length} past its limit; stop there and sonic-test the "
    "wall",
    # A photograph, as it was traced
    "print_unmeasured": "the frame's bars were not measured, so the print is taken as true to 0.15%: caliper both and "
    "pass --bar-mm",
    "marks_off": "the frame's marks are {off:length} off their places: lay the page flat and tape its corners down",
    "marks_hidden": "{seen} of the frame's {count} marks are seen: leave the rest free and photograph the whole page",
    "cameras_differ": "the photographs are from two cameras or at two zooms, so where each was taken from is worked "
    "out by itself, which is less sure: take them with one camera at one zoom",
    "light_poor": "the photograph is dark: more light makes its edges sharper",
    "light_bright": "the photograph is so bright that white and light gray are one: expose it less",
    "edge_blurred": "the edge is blurred over {blur:length}: hold the camera still and tap the screen to focus",
    "glare": "{share:.0%} of the edge is in glare: move the lamp, or dust the silicone with chalk",
    "edge_lost": "{share:.0%} of the edge is not clear against the paper, and was drawn on straight: light it evenly, "
    "from two sides",
    "thick_unknown": "how thick the slice is was not said, so its size is that at the paper: pass --thick",
    "blocks_differ": "the slice was said to be {given:length} thick, and the blocks are {seen:length} high: cut them "
    "to the slice's thickness",
    "mold_corners": "the sheet's corners are empty: read each by template and write it in, or its section counts as "
    "sharp",
    "mold_corner_guessed": "the mold's corners were not given, so each is taken as a fifth of its section: pass "
    "--corner with what the template reads at the entry, half way and at the exit",
    "mold_camera_unsure": "both photographs are too square to the page to show how far away the camera was, which "
    "makes {share:.1%} of a height or a width: take one of them again, tilted by 10° to 20°",
    "height_unsure": "how high the camera stood is not sure, which makes {share:.1%} of the area: set blocks of the "
    "slice's height on the frame, or photograph from farther off",
}

# What a job's file calls the options that sentences name.
KEYS = {
    "units-in": "units",
    "shrink-percent": "shrink_percent",
    "scale-error-percent": "scale_error_percent",
    "with-stem": "with_stem",
}
OPTION = re.compile(r"--(units-in|scale-error-percent|scale|shrink-percent|entry|exit|up|with-stem)( X,Y,Z| MM| P)?\b")


def sentences_of(code: str) -> dict[str, str]:
    """Return the sentences of a code by case; of a code with one, under the case ''."""
    words = SENTENCES[code]
    return {"": words} if isinstance(words, str) else words


def in_job_words(text: str) -> str:
    """Return a text that speaks of a command's options, speaking of the job file's keys."""

    def key(option: re.Match[str]) -> str:
        name = KEYS.get(option[1], option[1])
        return f"{name} = [X, Y, Z]" if option[2] == " X,Y,Z" else name

    changed = OPTION.sub(key, text)
    if changed == text:
        return text
    return changed.replace("Pass ", "In its scan's table give ").replace("pass ", "give ")
