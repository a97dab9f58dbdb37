"""The second world of photographs: another renderer, meshes and phones; scored, never tuned on.

`wires` builds ropes, `card` bends the printed card, `finishes` and `lights` say what is seen and by
what light, `scene` traces it (LuxCore), `phone` makes a phone's picture of it, `truth` says what a
caliper would read, `shots` lists what is photographed, `render` is the command. Nothing of the
first world (`sample_images`) is used; the card comes from the PDF that users print.
"""
