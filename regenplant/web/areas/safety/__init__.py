"""The safety desk: what waits for the safety lead, near misses, refused tanks with their letter, showers and eyewashes.

desk.py         the page the safety lead lands on
near_misses.py  telling one, answering it, closing what follows
refused.py      refused tanks: the letter, and where they went
washing.py      stations, rounds, yearly inspections
forms.py        what is written
"""

from django.urls import path

from regenplant.web.areas.safety import desk, near_misses, refused, washing

TAB = {"tab": "safety"}

urlpatterns = [
    path("safety/", desk.desk, TAB, name="safety"),
    path("safety/near-misses/", near_misses.listing, TAB, name="safety-near-misses"),
    path("safety/near-misses/new/", near_misses.new, TAB, name="safety-near-miss-new"),
    path("safety/near-misses/<str:number>/", near_misses.one, TAB, name="safety-near-miss"),
    path("safety/near-misses/<str:number>/answer/", near_misses.answer, TAB, name="safety-near-miss-answer"),
    path("safety/near-misses/<str:number>/close/", near_misses.close, TAB, name="safety-near-miss-close"),
    path("safety/refused/", refused.listing, TAB, name="safety-refused"),
    path("safety/refused/<str:number>/", refused.one, TAB, name="safety-refused-one"),
    path("safety/refused/<str:number>/letter.pdf", refused.letter, TAB, name="paper-refusal-letter"),
    path("safety/refused/<str:number>/left/", refused.left, TAB, name="safety-refused-left"),
    path("safety/washing/", washing.stations, TAB, name="safety-washing"),
    path("safety/washing/round/", washing.write_round, TAB, name="safety-washing-round"),
    path("safety/washing/new/", washing.new, TAB, name="safety-washing-new"),
    path("safety/washing/<str:code>/", washing.change, TAB, name="safety-washing-change"),
    path("safety/washing/<str:code>/inspect/", washing.inspect, TAB, name="safety-washing-inspect"),
]
