"""World two: photographs by another renderer, with other meshes and phones; never tuned on.

`wires` builds ropes, `card` bends the printed card, `finishes` and `lights` give materials and
light, `scene` traces them (LuxCore), `phone` makes a phone's picture, `truth` gives the caliper's
reading, `shots` lists the photographs, `render` is the command. Nothing of world one
(`sample_images`) is used; the card comes from the PDF that users print.
"""
