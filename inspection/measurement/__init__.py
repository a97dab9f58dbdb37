"""What readings and photographs say together: sections, ovality, the measured diameter, the trend.

May import `inspection.model`.
"""
