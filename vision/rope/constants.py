"""The constants for finding, tracing and measuring a rope: value, unit, reason and source.

Geometry, definitions and the limits of `vision.findings` are elsewhere. `CHOSEN` lists those that
were chosen freely: `tests/benchmarks/bench_constants.py` changes each of them by a fifth, and no
diameter may change by more than a quarter of its expanded uncertainty. The others are
uncertainties or typical properties of ropes. Constants for the lay are in `vision.rope.lay`.
"""

from __future__ import annotations

# --- finding the stripes' end ----------------------------------------------------------------

# Definition: where half of the paper is covered, half of the stripes' amplitude is left.
HALF = 0.5

# Window in periods of the stripes (one sigma of a Gaussian). It takes half a period to separate
# stripes from mean light; a longer window has less noise but rounds off more. From 0.3 to 0.6 the
# edges of 40 development renders have the same scatter.
WINDOW_PERIODS = 0.40

# Number of passes in which the outline is moved to the end of the stripes. Each pass corrects a
# ripple except for the share that its window blurs away: half for crowns of 18 strands, so that 6 %
# remains after four passes.
PASSES = 4

# Multiple of the blur at which an edge's transition is complete (99 % of it).
CLEAR_SIGMAS = 2.5

# px beyond that over which the light on the paper beside the rope is read. A shorter stretch has
# more noise; a longer one may extend across the edge of a shadow.
REFERENCE_PX = 3.0

# Penalty in votes for each row that the rough outline jumps between columns: following a loose wire
# must cost more than it gains, following a valley between two strands less.
BEND_PENALTY = 1.2

# Rope diameters traced on each side of the station: together about one turn of a strand.
HALF_LENGTH = 3.0

# Share of the card's length over which a rope must be straight to be found: a straight line fits a
# shorter piece of a bend or a drum.
LEAST_LENGTH_SHARE = 0.15

# --- the paper -------------------------------------------------------------------------------

# Share of the open band's contrast above which nothing covers the paper within the window.
OPEN_CONTRAST = 0.8

# --- a hard shadow beside the rope -----------------------------------------------------------

# Shares of the rope's own light farther in, and of the stripes' amplitude, below which there is
# taken to be no light.
OWN_LIGHT_SHARE, NO_LIGHT_SHARE = 0.1, 0.03

# --- crowns and jaws -------------------------------------------------------------------------

# Length of a jaw in rope diameters (a gauge's jaw spans two to three crowns), and the least length
# where a rope runs off the card.
JAW_DIAMETERS, LEAST_DIAMETERS = 2.0, 1.4

# Share of the diameter: an outline with less swing than this is that of a smooth bar. Round strands
# swing by 0.5 % (18 of them) to 13 % (6), compacted ones by half as much.
UNEVEN_SHARE = 0.003

# Share of the diameter: distance between neighbouring crowns of 18 strands at a lay length of 6.5
# diameters, the smallest in use (strands: EN 12385-4; lay length: from memory).
CLOSE_PITCH = 0.36

# Share of a pitch over which a crown is well approximated by a parabola.
CROWN_PART = 0.30

# Ratio of the outline's swing to the noise above which the swing is significant.
SIGNIFICANT = 1.5

# Share of the diameter: a crown this far above its neighbours is a broken wire or grease.
STRAY_SHARE = 0.012

CHOSEN = (
    "WINDOW_PERIODS", "PASSES", "CLEAR_SIGMAS", "REFERENCE_PX", "BEND_PENALTY", "HALF_LENGTH",
    "LEAST_LENGTH_SHARE", "OPEN_CONTRAST", "OWN_LIGHT_SHARE", "NO_LIGHT_SHARE", "UNEVEN_SHARE",
    "CLOSE_PITCH", "CROWN_PART", "SIGNIFICANT", "STRAY_SHARE", "RIPPLE_PX",
)  # fmt: skip

# --- typical values and uncertainties --------------------------------------------------------

# Share of the diameter: prior scatter of a rope's crown heights, and the number of crowns that this
# prior is worth (rendered ropes with usual manufacturing tolerances).
USUAL_SPREAD, USUAL_CROWNS = 0.0012, 2.0

# Share of the diameter: how much a side swells or thins three diameters from the station where a
# rope is not worn evenly (a thinning of 2 % is what an inspector looks for; our judgement).
SWELL_SHARE = 0.01

# px: lower bound of the noise of a crown's height, however smooth the outline looks.
LEAST_NOISE_PX = 0.02

# px: ripple that pixels cause in a straight edge (0.02 to 0.05 on drawn bars, from which this value
# was set); a smaller ripple is not evidence of wires.
RIPPLE_PX = 0.05

# Share of the distance between crowns, times the root of (diameter / distance): two planes through
# the camera touch the strands elsewhere than two parallel jaws do, where other wires lie on top. In
# ordinary lay a crown has one wire on top; in lang lay it has several. From 182 meshes seen from 4
# to 20 diameters away (root mean square), without a picture.
U_CROWNS = {"ordinary": 0.0035, "lang": 0.0015, "": 0.0027}

# mm: gap between rope and card, rectangular between 0 and half a millimetre, so 0.5 / sqrt 12 (how
# closely a hand-held or strapped card touches: common practice, no source).
U_GAP_MM = 0.15

# Share of the diameter: half of the usual difference between two directions.
ROUNDNESS_SHARE = 0.01

# mm: a measured height of the axis over the card.
U_STAND_OFF_MM = 1.0

# Share of a hard shadow's width: on development renders, shadows of 0.8 to 3.4 px were removed to
# within 0.25 px (root mean square).
U_SHADOW_SHARE = 0.12
