from django.apps import AppConfig


class ChemicalsConfig(AppConfig):
    name = "regenplant.chemicals"
    label = "chemicals"

    def ready(self) -> None:
        # Registers the use cases of this app and how they read in the log.
        import regenplant.chemicals.services
        import regenplant.chemicals.verification  # noqa: F401
        from regenplant.audit import locks
        from regenplant.chemicals.handed_on import count_section, spill_section
        from regenplant.plant import handed_on

        handed_on.register("spills", spill_section)
        handed_on.register("stock_counts", count_section)
        locks.declare(
            locks.Lock("chemicals_movement"),
            locks.Lock("chemicals_strengthcheck"),
            locks.Lock("chemicals_tankgeometry"),
            locks.Lock("chemicals_stockcount"),
            locks.Lock(
                "chemicals_expecteddelivery",
                columns=(
                    "number",
                    "place_id",
                    "order_number",
                    "supplier",
                    "entered_by_id",
                    "entered_at",
                ),
            ),
            locks.Lock(
                "chemicals_weighticket",
                columns=(
                    "unloading_id",
                    "position",
                    "paper_number",
                    "net_kg",
                    "net_as_typed",
                    "volume_m3",
                    "volume_as_typed",
                    "density_kg_per_m3",
                    "tolerance_frac",
                    "is_beyond",
                    "why_anew",
                    "weighed_by_id",
                    "weighed_at",
                ),
            ),
            locks.Lock(
                "chemicals_unloading",
                columns=(
                    "number",
                    "place_id",
                    "order_line",
                    "chemical",
                    "un_number",
                    "lot_code",
                    "supplier_lot",
                    "data_sheet_id",
                    "certificate_strength_frac",
                    "grams_100",
                    "expires_on",
                    "opened_by_id",
                    "opened_at",
                ),
            ),
            locks.Lock(
                "chemicals_datasheet",
                columns=(
                    "chemical",
                    "supplier",
                    "revised_on",
                    "strength_text",
                    "signal_word",
                    "hazard_codes",
                    "precaution_codes",
                    "pictograms",
                    "un_number",
                    "packing_group",
                    "protective_equipment",
                    "hazard_notes",
                ),
            ),
            locks.Lock("chemicals_thresholdfigure"),
            locks.Lock("chemicals_spillfigure"),
            locks.Lock("chemicals_spillnote"),
            locks.Lock("chemicals_storagearea", columns=("code",)),
            locks.Lock(
                "chemicals_spill",
                columns=(
                    "number",
                    "chemical",
                    "place_id",
                    "lot_id",
                    "location",
                    "reached",
                    "what_happened",
                    "happened_at",
                    "written_by_id",
                    "written_at",
                ),
            ),
            locks.Lock(
                "chemicals_chemicallot",
                columns=("code", "chemical", "certificate_strength_frac", "supplier_lot"),
            ),
        )
