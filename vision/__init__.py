"""From a photograph to a rope's diameter with its uncertainty.

In the order of the work: `photo` opens a file, `target` finds the printed card and says where the
camera stood, `calibration` knows the lens, `rope` traces the rope and gives diameter, lay and
budget, `pipeline` does all of it in one call; `scale_rule` measures photographs without the card.
`results`, `uncertainty` and `findings` are what a photograph can say.

Importing this package imports nothing else: `inspection` needs `vision.results`,
`vision.uncertainty` and `vision.findings` only, and must not pay for OpenCV.
"""
