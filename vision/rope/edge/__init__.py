"""The rope's outline in front of the striped band, and the effects that displace it.

Must not import jaws, diameters or their budget, as enforced by an import-linter contract.
"""
