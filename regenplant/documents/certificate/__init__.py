"""The certificate of quality: for one tank, or for the tanks of a delivery.

content.py    what it says, frozen when it is issued
gathering.py  that content from the released record
choosing.py   tanks one can be issued for
standing.py   whether it still holds: valid, replaced, withdrawn
paper.py      the paper
"""
