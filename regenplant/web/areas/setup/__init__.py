"""Set-up: what the plant is made of, readable by everybody, changed by those who may."""

from django.urls import path

from regenplant.web.areas.setup import (
    feed,
    instruments,
    overview,
    people,
    plant,
    recipes,
    resins,
    specifications,
    supplies,
    vessels,
)

urlpatterns = [
    path("setup/", overview.overview, name="setup"),
    path("setup/plant/", plant.plant_page, name="setup-plant"),
    path("setup/plant/change/", plant.change, name="setup-plant-change"),
    path("setup/plant/feed/", feed.change, name="setup-plant-feed"),
    path("setup/plant/feed/understood/", feed.understood, name="setup-plant-feed-understood"),
    path("setup/plant/feed/remove/", feed.remove, name="setup-plant-feed-remove"),
    # vessels
    path("setup/vessels/", vessels.vessel_list, name="setup-vessels"),
    path("setup/vessels/new/", vessels.edit, name="setup-vessel-new"),
    path("setup/vessels/<str:code>/", vessels.vessel_page, name="setup-vessel"),
    path("setup/vessels/<str:code>/change/", vessels.edit, name="setup-vessel-change"),
    path("setup/vessels/<str:code>/lock-out/", vessels.lock_out, name="setup-vessel-lock-out"),
    path("setup/vessels/<str:code>/lift/", vessels.lift, name="setup-vessel-lift"),
    path("setup/vessels/<str:code>/clean-down/", vessels.clean_down, name="setup-vessel-clean-down"),
    # skids, waters, waste
    path("setup/supplies/", supplies.supplies, name="setup-supplies"),
    path("setup/skids/new/", supplies.skid_edit, name="setup-skid-new"),
    path("setup/skids/<str:code>/", supplies.skid_edit, name="setup-skid"),
    path("setup/skids/<str:code>/lock-out/", supplies.skid_lock_out, name="setup-skid-lock-out"),
    path("setup/skids/<str:code>/lift/", supplies.skid_lift, name="setup-skid-lift"),
    path("setup/waters/<str:kind>/", supplies.water_edit, name="setup-water"),
    path("setup/waste/new/", supplies.waste_edit, name="setup-waste-new"),
    path("setup/waste/<str:code>/", supplies.waste_edit, name="setup-waste"),
    path("setup/waste/<str:code>/level/", supplies.waste_level, name="setup-waste-level"),
    # instruments
    path("setup/instruments/", instruments.instrument_list, name="setup-instruments"),
    path("setup/instruments/new/", instruments.edit, name="setup-instrument-new"),
    path("setup/instruments/<str:code>/", instruments.instrument_page, name="setup-instrument"),
    path("setup/instruments/<str:code>/change/", instruments.edit, name="setup-instrument-change"),
    path(
        "setup/instruments/<str:code>/calibration/",
        instruments.calibration,
        name="setup-instrument-calibration",
    ),
    # resins
    path("setup/resins/", resins.type_list, name="setup-resins"),
    path("setup/resins/new/", resins.type_edit, name="setup-resin-new"),
    path("setup/resins/<str:code>/", resins.type_page, name="setup-resin"),
    path("setup/resins/<str:code>/change/", resins.type_edit, name="setup-resin-change"),
    path("setup/lots/", resins.lot_list, name="setup-lots"),
    path("setup/lots/new/", resins.lot_new, name="setup-lot-new"),
    path("setup/lots/<str:code>/", resins.lot_page, name="setup-lot"),
    path("setup/lots/<str:code>/scrap/", resins.lot_scrap, name="setup-lot-scrap"),
    # recipes and specifications
    path("setup/recipes/", recipes.recipe_list, name="setup-recipes"),
    path("setup/recipes/new/", recipes.new, name="setup-recipe-new"),
    path("setup/recipes/<str:code>/", recipes.recipe_page, name="setup-recipe"),
    path("setup/recipes/<str:code>/draft/", recipes.draft, name="setup-recipe-draft"),
    path("setup/recipes/<str:code>/compare/", recipes.compare, name="setup-recipe-compare"),
    path("setup/recipes/<str:code>/<int:number>/", recipes.version_page, name="setup-recipe-version"),
    path("setup/recipes/<str:code>/<int:number>/approve/", recipes.approve, name="setup-recipe-approve"),
    path("setup/recipes/<str:code>/<int:number>/withdraw/", recipes.withdraw, name="setup-recipe-withdraw"),
    path("setup/specifications/", specifications.specification_list, name="setup-specifications"),
    path("setup/specifications/new/", specifications.new, name="setup-specification-new"),
    path("setup/specifications/<str:code>/", specifications.specification_page, name="setup-specification"),
    path("setup/specifications/<str:code>/draft/", specifications.draft, name="setup-specification-draft"),
    path(
        "setup/specifications/<str:code>/compare/", specifications.compare, name="setup-specification-compare"
    ),
    path(
        "setup/specifications/<str:code>/<int:number>/",
        specifications.version_page,
        name="setup-specification-version",
    ),
    path(
        "setup/specifications/<str:code>/<int:number>/approve/",
        specifications.approve,
        name="setup-specification-approve",
    ),
    path(
        "setup/specifications/<str:code>/<int:number>/withdraw/",
        specifications.withdraw,
        name="setup-specification-withdraw",
    ),
    # people
    path("setup/people/", people.people_list, name="setup-people"),
    path("setup/people/new/", people.new, name="setup-person-new"),
    path("setup/people/<str:username>/deactivate/", people.deactivate, name="setup-person-deactivate"),
]
