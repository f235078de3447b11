"""Drawings that stand on the page and on paper: a scene of primitives, built once, turned into SVG or drawn by the papers' pen.

scene.py        lengths, primitives, Scene.to_svg()
scales.py       even, logarithmic and clock axes: where a value stands, which ticks carry numbers
curves.py       a smooth line through points that makes no hump of its own; a long log thinned
rinse.py        rinse-down on a log axis, and even near the limit
rinse_axes.py   from where to where its axes run
rinse_words.py  a rinse-down as data, in the units a person reads, in sentences

Below ``documents`` and ``web``: knows only ``regenplant.units`` and ``django.utils.html``.
"""
