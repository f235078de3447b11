"""The batch record as a paper: the complete history of one batch, beside the batch sheet, which is the work order.

content.py      what it says, as frozen data
here.py         what all parts of one paper share while it is gathered
steps.py        tanks, steps, entries, holds, separation
quality.py      rinse readings, measurements, decisions, deviations
trail.py        chemical drawn, signatures, papers, acts
gathering.py    all of it together
paper.py        the drawing, with draw_head.py, draw_steps.py, draw_quality.py, draw_trail.py and curve.py
"""
