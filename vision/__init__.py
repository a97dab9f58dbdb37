"""From a photograph to a rope's diameter with its uncertainty.

Read the room in the order of the work: `photo` opens a file, `card` says what was printed,
`markers` finds it, `pose` says where the camera stood, `edges` traces the rope's outline,
`jaws` bears on the strand crowns, `cylinder` turns two tangent planes into a diameter,
`budget` says how well it is known, `pipeline` does all of it in one call.

Importing this package imports nothing else: `inspection` needs `vision.estimate` and
`vision.findings` only, and must not pay for OpenCV.
"""
