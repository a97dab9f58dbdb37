"""Every number that steers how a rope is found, traced and measured: value, unit, reason, source.

What is not here is geometry, a definition or a limit of `vision.findings`. `CHOSEN` are choices:
`tests/benchmarks/bench_constants.py` moves each of them by a fifth, and no diameter may follow by
more than a quarter of its uncertainty. The others say how unsure something is, or what is usual
of ropes. What steers the lay's pitch, hand and strands stands with it (`vision.rope.lay`).
"""

from __future__ import annotations

# --- finding the stripes' end ----------------------------------------------------------------

# 1. A definition: where half of the paper is covered, half of the stripes' amplitude is left.
HALF = 0.5

# Periods of the stripes (one sigma of a Gaussian). Half a period tells light from stripes at all;
# a longer window sees less noise and rounds off more. From 0.3 to 0.6 the edges of 40 development
# renders scatter alike.
WINDOW_PERIODS = 0.40

# How often the outline is moved to where the stripes end. Each pass leaves of a ripple what its
# window blurs away: of a crown of 18 strands a half, so 6 % after four.
PASSES = 4

# Times the blur: farther out an edge's blur has come to its end (99 % of it).
CLEAR_SIGMAS = 2.5

# px outside that: where the light that falls on the paper beside the rope is read. Shorter and
# the noise grows, longer and it reaches over a shadow's rim.
REFERENCE_PX = 3.0

# Votes for each row by which the rough outline jumps from column to column: a loose wire must
# cost more than it gains, a valley between two strands less.
BEND_PENALTY = 1.2

# Rope diameters looked at on each side of the station: one turn of a strand.
HALF_LENGTH = 3.0

# Of the card's length that the rope must cover, straight, to be found: shorter, and a bend or a
# drum on the band is met by a straight line over a piece of it.
LEAST_LENGTH_SHARE = 0.15

# --- the paper -------------------------------------------------------------------------------

# Of the open band's contrast: above it nothing lies over the paper within the window.
OPEN_CONTRAST = 0.8

# --- a hard shadow beside the rope -----------------------------------------------------------

# Of the rope's own light farther in, and of the stripes' amplitude: less is none.
OWN_LIGHT_SHARE, NO_LIGHT_SHARE = 0.1, 0.03

# --- crowns and jaws -------------------------------------------------------------------------

# Diameters: length of a jaw (a gauge's is wide enough for two to three crowns); the least, where
# a rope runs off the card.
JAW_DIAMETERS, LEAST_DIAMETERS = 2.0, 1.4

# Of the diameter: an outline that swings less than this is a smooth bar's. Round strands swing by
# 0.5 % (18 of them) to 13 % (6), compacted ones by half of it.
UNEVEN_SHARE = 0.003

# Of the diameter: distance of neighbouring crowns of 18 strands at a lay length of 6.5 diameters,
# the closest there are (EN 12385-4 gives the strands; the lay length is from memory).
CLOSE_PITCH = 0.36

# Of a pitch: over such a part a crown is as good as a parabola.
CROWN_PART = 0.30

# Times the noise: a swing surely of its own.
SURELY = 1.5

# Of the diameter: a crown that stands out so far above its neighbours is a broken wire or grease.
STRAY_SHARE = 0.012

CHOSEN = (
    "WINDOW_PERIODS", "PASSES", "CLEAR_SIGMAS", "REFERENCE_PX", "BEND_PENALTY", "HALF_LENGTH",
    "LEAST_LENGTH_SHARE", "OPEN_CONTRAST", "OWN_LIGHT_SHARE", "NO_LIGHT_SHARE", "UNEVEN_SHARE",
    "CLOSE_PITCH", "CROWN_PART", "SURELY", "STRAY_SHARE", "RIPPLE_PX",
)  # fmt: skip

# --- what is usual, and how unsure -----------------------------------------------------------

# Of the diameter: scatter of a rope's crowns as it is thought to be beforehand, and for how many
# crowns that thought counts (rendered ropes of the trade's tolerances).
USUAL_SPREAD, USUAL_CROWNS = 0.0012, 2.0

# Of the diameter, three diameters from the station: by how much a side swells or thins where a
# rope is not worn evenly (a thinning of 2 % is what an inspector looks for; our judgement).
SWELL_SHARE = 0.01

# px: no crown's height is known better, however smooth the outline looks.
LEAST_NOISE_PX = 0.02

# px: an edge that is straight comes out of its pixels with such a ripple (0.02 to 0.05 on drawn
# bars, which this number was set on); less is no wire.
RIPPLE_PX = 0.05

# Of the diameter: two planes from one point touch other crowns and wires than two parallel jaws
# do (0.1 %, at most 0.15 % over 18 rendered ropes with perfect edges).
U_CROWNS_SHARE = 0.0007

# mm: gap between rope and card, anything between nothing and half a millimetre, so 0.5 / sqrt 12
# (how closely a hand-held or strapped card touches: common practice, no source).
U_GAP_MM = 0.15

# Of the diameter: half of the usual difference between two directions.
ROUNDNESS_SHARE = 0.01

# mm: a height of the axis over the card that somebody measured.
U_STAND_OFF_MM = 1.0

# Of a hard shadow's width: seen on development renders, whose shadows of 0.8 to 3.4 px were taken
# off to 0.25 px (root mean square).
U_SHADOW_SHARE = 0.12
