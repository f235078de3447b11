"""Drawings of the page alone, on the scene of ``regenplant.drawing``.

marks.py        the state language: state -> symbol, word, tone
limit_bar.py    one value against its limits
step_ruler.py   the steps of a batch as planned minutes
dots.py         chemical per resin volume, batch by batch, on the plan line
lanes.py        vessels over the hours
ancestry.py     what a resin lot came from and went to
trace.py        customers, tanks, lots and batches, with the ways between them
"""
