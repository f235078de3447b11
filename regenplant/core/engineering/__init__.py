"""Engineering of ion-exchange regeneration: plain functions, floats in coherent SI, answers that show their working.

    substances, ions     regenerants as substances; equivalents and "as CaCO3"
    water                density, viscosity and ion product of water
    solutions, baume     density and strength of HCl, NaOH, H2SO4, NaCl; degrees Baumé
    regenerants          dose, stock, dilution water, flow, contact time, regenerant ratio
    heat                 temperature of a blend; heat for warm caustic
    beds, hydraulics     volume in a stated form, depth, velocity; settling, expansion, pressure drop
    conductivity         pure water, compensation to 25 °C by the kind of water, what a meter may show at most
    rinse                displacement front, rinse tail, endpoint or never
    equilibria           pH of a mixed waste from its composition
    neutralization       excess of spent regenerant, neutralizer in two stages, salt load
    sources, estimate    where each method comes from; the answer with formula, inputs, method and validity

House units: a name says its unit (``_m3``, ``_kg_per_m3``, ``_kelvin``, ``_siemens_per_m``, ``_frac``, ``_bv`` ...);
no suffix means dimensionless. The heavy libraries behind these modules load on first use (``libraries``).
"""
