"""Drawings as data: a scene of primitives, built once, shown as SVG on screen or by another back end on paper.

scene.py        lengths, primitives, Scene.to_svg()
scales.py       even, logarithmic and clock axes: where a value stands, which ticks carry numbers
marks.py        the state language: state -> symbol, word, tone
limit_bar.py    one value against its limits
step_ruler.py   the steps of a batch as planned minutes
rinse.py        rinse-down on a log axis, and even near the limit
dots.py         chemical per resin volume, batch by batch, on the plan line
lanes.py        vessels over the hours
ancestry.py     what a resin lot came from and went to
curves.py       a smooth line through points that makes no hump of its own

Nothing here imports from the rest of ``web``: only ``regenplant.units`` and ``django.utils.html``.
"""
